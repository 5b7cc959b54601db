"""The library's word beside ours: compared by log-likelihood, and silent."""

import subprocess
import sys
import warnings

import numpy as np
import pytest
from product_source import ROOT

from analysis.statistics.life_fit import life_fit
from analysis.statistics.life_records import LifeRecords, life_records, lives_with_run_outs
from analysis.statistics.reliability_library import MOST_UNITS, second_opinion
from schemas.estimates import NotEstimable
from schemas.fits import Distribution, LifeFit
from schemas.second_opinion import DistributionOpinion, SecondOpinion

DISTRIBUTIONS: tuple[Distribution, ...] = ("WEIBULL", "LOGNORMAL", "EXPONENTIAL")
# Found by a search for lots on which the library's Weibull fit stops short. R 4.2.2 survreg
# gives eta 208 086, beta 1.0031 and log-likelihood -39.748; the library -40.358.
STOPS_SHORT = lives_with_run_outs(
    [4_568, 49_576, 70_159, 71_733], [True, True, True, False], counts=[1, 1, 1, 7]
)


def opinion_on(records: LifeRecords) -> dict[str, DistributionOpinion]:
    fits = {each: life_fit(records, each) for each in DISTRIBUTIONS}
    return {each.distribution: each for each in second_opinion(records, fits).distributions}


def test_a_weibull_fit_that_stops_short_is_shown_as_such() -> None:
    weibull = opinion_on(STOPS_SHORT)["WEIBULL"]
    assert weibull.code == "OURS_HIGHER"
    assert weibull.our_log_likelihood == pytest.approx(-39.748, abs=5e-4)
    assert weibull.library_log_likelihood == pytest.approx(-40.358, abs=5e-4)
    assert weibull.library_log_likelihood_recomputed == pytest.approx(-40.358, abs=5e-4)
    # The library's own answer, as printed when the example was found: eta 948 219, beta 0.567.
    assert weibull.parameters["scale_cycles"] == pytest.approx(948_219, abs=0.5)
    assert weibull.parameters["shape"] == pytest.approx(0.567, abs=5e-4)


def test_where_both_reach_the_maximum_they_agree() -> None:
    both = opinion_on(STOPS_SHORT)
    assert both["LOGNORMAL"].code == "AGREES"
    assert both["EXPONENTIAL"].code == "AGREES"
    # Total cycles over failures: (4568 + 49576 + 70159 + 7 x 71733) / 3.
    assert both["EXPONENTIAL"].parameters["scale_cycles"] == pytest.approx(626_434 / 3, rel=1e-6)


def test_distributions_that_we_do_not_fit_are_given_and_not_judged() -> None:
    for name in ("NORMAL", "GAMMA", "LOGLOGISTIC"):
        each = opinion_on(STOPS_SHORT)[name]
        assert each.code == "NOT_COMPARED"
        assert len(each.parameters) == 2
        assert isinstance(each.library_log_likelihood, float)


def test_a_library_with_more_likelihood_than_ours_would_be_shown() -> None:
    right = life_fit(STOPS_SHORT, "WEIBULL")
    assert isinstance(right, LifeFit)
    wrong = LifeFit(
        distribution="WEIBULL",
        location=right.location,
        spread=right.spread,
        log_likelihood=-50.0,
        covariance=right.covariance,
        unit_count=right.unit_count,
        failure_count=right.failure_count,
        iteration_count=right.iteration_count,
        score_size=right.score_size,
    )
    assert second_opinion(STOPS_SHORT, {"WEIBULL": wrong}).distributions[0].code == "DISAGREES"


def reasons(opinion: SecondOpinion) -> set[object]:
    assert {each.code for each in opinion.distributions} == {"NOT_FITTED"}
    return {each.reason for each in opinion.distributions}


def test_brackets_and_very_large_lots_are_not_handed_to_it() -> None:
    bracket = life_records([10_000, 20_000], [15_000, float("inf")])
    assert reasons(second_opinion(bracket, {})) == {"BRACKETED_LIVES"}
    large = lives_with_run_outs([100, 200], [True, False], counts=[2, MOST_UNITS])
    assert reasons(second_opinion(large, {})) == {"TOO_MANY_UNITS"}


def test_one_failure_is_enough_for_an_exponential_only() -> None:
    one = lives_with_run_outs([800_000, 1_000_000], [True, False], counts=[1, 9])
    both = opinion_on(one)
    assert both["EXPONENTIAL"].code == "AGREES"
    assert both["WEIBULL"].reason == "TOO_FEW_DISTINCT_FAILURES"
    assert isinstance(both["WEIBULL"].our_log_likelihood, float)


def test_where_we_refuse_its_number_is_not_compared() -> None:
    # Every failure at the longest life: no Weibull maximum, whatever a library answers.
    records = lives_with_run_outs([500, 700, 700], [True, True, False])
    refused = NotEstimable(reason="FAILURES_ONLY_AT_LONGEST_LIFE")
    weibull = second_opinion(records, {"WEIBULL": refused}).distributions[0]
    assert weibull.code == "NOT_COMPARED"
    assert weibull.reason == "FAILURES_ONLY_AT_LONGEST_LIFE"


def test_nothing_that_the_library_raises_comes_out(monkeypatch: pytest.MonkeyPatch) -> None:
    second_opinion(STOPS_SHORT, {})
    fitters = sys.modules["reliability.Fitters"]

    def broken(**_: object) -> None:
        raise RuntimeError("out of luck")

    monkeypatch.setattr(fitters, "Fit_Gamma_2P", broken)
    assert opinion_on(STOPS_SHORT)["GAMMA"].reason == "REFUSED_BY_LIBRARY"


def test_it_is_silent_and_leaves_settings_alone(capsys: pytest.CaptureFixture[str]) -> None:
    before = np.geterr(), list(warnings.filters)
    zero = lives_with_run_outs([10, 10, 20, 30], [True, True, True, False])
    second_opinion(zero, {})
    assert (np.geterr(), list(warnings.filters)) == before
    assert capsys.readouterr() == ("", "")


def test_importing_the_adapter_loads_no_library() -> None:
    program = (
        "import sys, analysis.statistics.reliability_library\n"
        "print(sorted({'reliability', 'matplotlib', 'pandas'} & sys.modules.keys()))"
    )
    shown = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert shown.stdout.strip() == "[]"
