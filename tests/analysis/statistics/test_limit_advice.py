"""References: the simulation of limit_simulation (written apart) and figures of an earlier one."""

from itertools import pairwise

import numpy as np
import pytest
from limit_simulation import (
    CONFIDENCE,
    FRACTION,
    TRUE_LOG_LIFE,
    coverage,
    draw_lots,
    fisher_holds,
    ratio_holds,
)

from analysis.errors import OutsideDomainError
from analysis.statistics.fisher_limits import fisher_limits
from analysis.statistics.life_fit import life_fit
from analysis.statistics.life_records import lives_with_run_outs
from analysis.statistics.likelihood_limits import likelihood_limits
from analysis.statistics.limit_advice import COVERAGE_TABLE, NOMINAL_CONFIDENCE, limit_advice
from schemas.estimates import NotEstimable
from schemas.fit_limits import FitLimits, LimitCoverage
from schemas.fits import LifeFit

EARLIER = {5: (0.73, 0.84), 10: (0.77, 0.85), 20: (0.83, 0.88), 50: (0.84, 0.88)}
"""Fisher and likelihood-ratio coverage from another simulation of 3 000 lots, two decimals."""
EARLIER_ERROR = 0.0085  # 0.007 to 0.008 of simulation, and rounding to two decimals


@pytest.mark.parametrize(
    ("failures", "recommended", "row", "few"),
    [
        (1, "LIKELIHOOD_RATIO", 3, True),
        (3, "LIKELIHOOD_RATIO", 3, True),
        (9, "LIKELIHOOD_RATIO", 5, True),
        (10, "LIKELIHOOD_RATIO", 10, False),
        (99, "LIKELIHOOD_RATIO", 25, False),
        (249, "LIKELIHOOD_RATIO", 100, False),
        (250, "FISHER_LOG", 250, False),
        (4_000, "FISHER_LOG", 250, False),
    ],
)
def test_advice_follows_the_row_with_no_more_failures(
    failures: int, recommended: str, row: int, few: bool
) -> None:
    advice = limit_advice(failures)
    assert advice.recommended == recommended
    assert advice.table_row.expected_failure_count == row
    assert advice.warnings == (("FEW_FAILURES",) if few else ())
    assert advice.expected_coverage_fisher_log == advice.table_row.fisher_log
    assert advice.expected_coverage_likelihood_ratio == advice.table_row.likelihood_ratio
    assert advice.nominal_confidence == NOMINAL_CONFIDENCE == CONFIDENCE


@pytest.mark.parametrize("wrong", [0, -1, 2.5, True])
def test_no_failure_is_no_fit_to_advise_on(wrong: int) -> None:
    with pytest.raises(OutsideDomainError, match="failure_count"):
        limit_advice(wrong)


def test_likelihood_ratio_limits_cover_better_in_every_row_and_both_improve() -> None:
    for row, following in pairwise(COVERAGE_TABLE):
        assert row.fisher_log < row.likelihood_ratio < NOMINAL_CONFIDENCE
        assert row.fisher_log < following.fisher_log
        assert row.likelihood_ratio < following.likelihood_ratio


@pytest.mark.parametrize("unit_count", EARLIER)
def test_the_table_agrees_with_an_earlier_simulation(unit_count: int) -> None:
    row = next(each for each in COVERAGE_TABLE if each.unit_count == unit_count)
    for ours, theirs in zip(
        (row.fisher_log, row.likelihood_ratio), EARLIER[unit_count], strict=True
    ):
        assert ours == pytest.approx(theirs, abs=3 * EARLIER_ERROR)


def test_the_simulation_judges_lots_as_the_products_own_limits_do() -> None:
    lives, failed = draw_lots(10, 60, np.random.default_rng(4))
    for row_lives, row_failed in zip(lives, failed, strict=True):
        records = lives_with_run_outs(row_lives, row_failed)
        fit = life_fit(records, "WEIBULL")
        if isinstance(fit, NotEstimable):
            continue
        assert isinstance(fit, LifeFit)
        asked = {"confidence": CONFIDENCE, "at_cycles": (), "fractions": (FRACTION,)}
        ratio = likelihood_limits(records, "WEIBULL", **asked)  # type: ignore[arg-type]
        assert isinstance(ratio, FitLimits)
        judged = (np.log(row_lives)[None], row_failed[None], np.array([fit.location]))
        for limits, holds in (
            (fisher_limits(fit, **asked), fisher_holds),  # type: ignore[arg-type]
            (ratio, ratio_holds),
        ):
            lower = limits.b_lives[0].lower_cycles
            assert isinstance(lower, float)
            assert holds(*judged, np.array([fit.shape]))[0] == (np.log(lower) <= TRUE_LOG_LIFE)


@pytest.mark.slow
@pytest.mark.parametrize("row", COVERAGE_TABLE[:5], ids=lambda row: f"{row.unit_count} units")
def test_a_new_simulation_finds_the_table_again(row: LimitCoverage) -> None:
    found = coverage(row.unit_count, 10_000, np.random.default_rng(1_000 + row.unit_count))
    for share, listed in (
        (found.fisher_log, row.fisher_log),
        (found.likelihood_ratio, row.likelihood_ratio),
    ):
        # Standard errors of 10 000 and of 20 000 lots together.
        error = found.standard_error(share) * 1.5**0.5
        assert share == pytest.approx(listed, abs=4 * error)
    assert found.without_maximum_share == pytest.approx(row.without_maximum_share, abs=0.005)
