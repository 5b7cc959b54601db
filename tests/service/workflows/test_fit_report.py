"""What a report of fits holds, and what stands in the place of what there is not."""

from __future__ import annotations

from typing import Any

import pytest

from analysis.errors import DidNotConvergeError
from analysis.statistics.competing_modes import mode_lives
from analysis.statistics.life_records import LifeRecords, life_records, lives_with_run_outs
from schemas.estimates import NotEstimable
from schemas.fit_requests import BootstrapQuestion, FitQuestion
from schemas.fits import LifeFit
from schemas.survival import IntervalSurvival, SurvivalCurve
from service.workflows import fit_report as module
from service.workflows.fit_report import Lives, fit_report, fits_of, settled

INF = float("inf")
LIVES = lives_with_run_outs([4_568, 49_576, 70_159, *[71_733] * 7], [True] * 3 + [False] * 7)


def question(**changes: Any) -> FitQuestion:
    return FitQuestion(**{"distributions": ["WEIBULL"], "confidence": 0.9, **changes})


def report(records: LifeRecords = LIVES, **changes: Any) -> Any:
    return fit_report(Lives(records=records), question(**changes))


def test_a_search_that_does_not_settle_is_an_answer() -> None:
    def fail() -> None:
        raise DidNotConvergeError("anything", "everything")

    assert settled(fail) == NotEstimable(reason="DID_NOT_CONVERGE")


def test_a_computation_that_breaks_down_is_an_answer_and_is_logged(
    caplog: pytest.LogCaptureFixture,
) -> None:
    assert settled(lambda: 1 / 0) == NotEstimable(reason="DID_NOT_CONVERGE")
    assert "fit_broke_down" in caplog.text


def test_each_distribution_is_fitted_once_in_the_order_asked() -> None:
    found = report(distributions=["EXPONENTIAL", "WEIBULL", "EXPONENTIAL"]).distributions
    assert [each.distribution for each in found] == ["EXPONENTIAL", "WEIBULL"]
    exponential, weibull = found
    # Total cycles over failures; eta and beta of R 4.2.2 survreg for these very lives.
    assert exponential.scale_cycles == pytest.approx(626_434 / 3, rel=1e-9)
    assert weibull.scale_cycles == pytest.approx(208_086, abs=0.5)
    assert weibull.shape == pytest.approx(1.0031, abs=5e-5)


def test_a_lognormal_has_no_weibull_shape() -> None:
    [lognormal] = report(distributions=["LOGNORMAL"]).distributions
    assert type(lognormal.shape).__name__ == "UnsetType"


def test_the_curve_follows_the_kind_of_lives(monkeypatch: pytest.MonkeyPatch) -> None:
    assert isinstance(report().survival, SurvivalCurve)
    bracketed = life_records([10.0, 20.0, 40.0], [15.0, 30.0, INF])
    assert isinstance(report(bracketed).survival, IntervalSurvival)
    monkeypatch.setattr(module, "MOST_BRACKETED", 2)
    assert report(bracketed).survival == NotEstimable(reason="TOO_MANY_LIVES")


def test_what_would_grow_without_bound_is_not_computed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST_POINTS_PLOTTED", 2)
    monkeypatch.setattr(module, "MOST_LIVES_DRAWN", 10 * 100 - 1)
    drawn = BootstrapQuestion(kind="NON_PARAMETRIC", resample_count=100, seed=1)
    found = report(bootstrap=drawn)
    refused = NotEstimable(reason="TOO_MANY_LIVES")
    assert (found.plotting_positions, found.rank_line, found.bootstrap) == (refused,) * 3


def test_modes_are_reported_where_they_are_known() -> None:
    modes = mode_lives([50, 60, 70, 80], [50, 60, 70, INF], ["SEAL", "CRACK", "SEAL", None])
    records = life_records([50, 60, 70, 80], [50, 60, 70, INF])
    found = fit_report(Lives(records=records, with_modes=modes), question())
    assert sorted(each.mode for each in found.modes.modes) == ["CRACK", "SEAL"]


def test_few_failures_are_warned_of_until_there_are_enough() -> None:
    assert report().warnings == ["FEW_FAILURES"]
    many = lives_with_run_outs([*range(1_000, 3_000, 50), 9_000], [True] * 40 + [False])
    assert "FEW_FAILURES" not in report(many).warnings


def test_our_fits_for_a_library_are_those_of_the_report() -> None:
    fits = fits_of(LIVES, ["WEIBULL"])
    assert isinstance(fits["WEIBULL"], LifeFit)
    assert fits["WEIBULL"] == report().distributions[0].fit
