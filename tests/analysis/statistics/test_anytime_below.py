"""Evidence of a lot below its requirement, against quadrature and simulation."""

import math

import numpy as np
import pytest
from scipy import integrate

from analysis.errors import OutsideDomainError
from analysis.statistics.anytime_below import (
    RATE_BELOW,
    anytime_upper_limit,
    lives_shown_below,
    log_evidence_below,
)


@pytest.mark.parametrize(("count", "lives"), [(0, 0.0), (0, 3.0), (2, 0.055), (5, 2.0), (12, 4.0)])
def test_evidence_equals_quadrature(count: int, lives: float) -> None:
    def integrand(excess: float) -> float:
        return (1.0 + excess) ** count * RATE_BELOW * math.exp(-(RATE_BELOW + lives) * excess)

    reference, _ = integrate.quad(integrand, 0.0, math.inf, epsabs=0.0, epsrel=1e-12)
    assert log_evidence_below(count, lives) == pytest.approx(math.log(reference), abs=1e-11)


def test_the_lives_that_show_a_lot_below_are_those_computed_apart() -> None:
    # Computed apart from this project, confidence 0.90, r = 2 to 8; no published source.
    printed = [0.055, 0.430, 0.857, 1.323, 1.821, 2.346, 2.892]
    found = [lives_shown_below(r, confidence=0.90) for r in range(2, 9)]
    assert [each and round(each, 3) for each in found] == printed


def test_hundreds_of_failures_do_not_overflow() -> None:
    # The last term alone, r! / (x + b)^(r + 1), is the whole for r far above x.
    lead = math.lgamma(2_001) + 2_001 * math.log(2.0) + math.log(RATE_BELOW)
    assert log_evidence_below(2_000, 0.0) == pytest.approx(lead + 0.5, rel=1e-9)


def test_evidence_falls_with_what_was_run_and_rises_with_failures() -> None:
    assert log_evidence_below(3, 1.0) > log_evidence_below(3, 1.1)
    assert log_evidence_below(4, 1.0) > log_evidence_below(3, 1.0)


def test_one_failure_limits_nothing_from_above() -> None:
    assert anytime_upper_limit(10.0, 1, confidence=0.90) is None
    limit = anytime_upper_limit(10.0, 4, confidence=0.90)
    shown = lives_shown_below(4, confidence=0.90)
    assert limit is not None and shown is not None
    assert -math.log(limit) * 10.0 == pytest.approx(shown, rel=1e-12)


def test_false_alarms_stay_below_the_risk_at_all_looks() -> None:
    lots, failures = 20_000, 60
    rng = np.random.default_rng(7_031)
    at = rng.exponential(1.0, (lots, failures)).cumsum(axis=1)
    shown = [lives_shown_below(r, confidence=0.90) or -1.0 for r in range(1, failures + 1)]
    alarmed = float((at <= np.array(shown)).any(axis=1).mean())
    # 5.8 % was simulated apart from this project.
    assert alarmed == pytest.approx(0.058, abs=4 * math.sqrt(0.058 * 0.942 / lots))


def test_numbers_out_of_range_are_refused() -> None:
    with pytest.raises(OutsideDomainError, match="failure_count"):
        log_evidence_below(-1, 1.0)
    with pytest.raises(OutsideDomainError, match="confidence"):
        lives_shown_below(2, confidence=0.0)
    with pytest.raises(OutsideDomainError, match="target_lives"):
        anytime_upper_limit(-1.0, 3, confidence=0.9)
