"""Evidence on lots of known size against exact fractions; its promise by enumeration."""

import math
from fractions import Fraction

import pytest

from analysis.errors import OutsideDomainError
from analysis.statistics.anytime_counts import log_count_evidence
from analysis.statistics.anytime_evidence import PRIORS
from analysis.statistics.anytime_finite_lot import log_lot_evidence
from schemas.anytime import AnytimePrior


def by_fractions(count: int, units: int, size: int, most_weak: int, name: AnytimePrior) -> float:
    """Weights in floating point (they hold gamma functions), ways to draw exactly."""
    prior = PRIORS[name]
    other = 1.0 + prior.rate / 0.05
    weights = [
        math.comb(size, weak)
        * math.exp(
            math.lgamma(prior.shape + weak)
            + math.lgamma(other + size - weak)
            - math.lgamma(prior.shape + other + size)
        )
        for weak in range(most_weak + 1)
    ]

    def ways(weak: int) -> int:
        return math.comb(weak, count) * math.comb(size - weak, units - count)

    seen = sum(Fraction(weight) * ways(weak) for weak, weight in enumerate(weights)) / sum(
        map(Fraction, weights)
    )
    return math.log(seen / ways(most_weak + 1))


@pytest.mark.parametrize("name", sorted(PRIORS))
@pytest.mark.parametrize(("count", "units"), [(0, 0), (0, 30), (1, 50), (2, 90), (4, 60)])
def test_evidence_equals_exact_fractions(name: AnytimePrior, count: int, units: int) -> None:
    found = log_lot_evidence(count, units, lot_size=120, reliability=0.95, prior=PRIORS[name])
    assert found == pytest.approx(by_fractions(count, units, 120, 6, name), rel=1e-9, abs=1e-10)


def test_a_large_lot_gives_the_answer_of_an_endless_one() -> None:
    endless = log_count_evidence(1, 103, reliability=0.95, prior=PRIORS["EVEN"])
    large = log_lot_evidence(1, 103, lot_size=1_000_000, reliability=0.95, prior=PRIORS["EVEN"])
    assert large == pytest.approx(endless, abs=2e-3)


@pytest.mark.parametrize("weak", [3, 4, 9])
def test_a_lot_below_its_requirement_is_seldom_accepted_at_any_unit(weak: int) -> None:
    size, going, accepted = 40, {0: Fraction(1)}, Fraction(0)
    for units in range(1, size + 1):
        after: dict[int, Fraction] = {}
        for count, chance in going.items():
            fails = Fraction(weak - count, size - units + 1)
            after[count + 1] = after.get(count + 1, Fraction(0)) + chance * fails
            after[count] = after.get(count, Fraction(0)) + chance * (1 - fails)
        going = {}
        for count, chance in after.items():
            found = log_lot_evidence(
                count, units, lot_size=size, reliability=0.95, prior=PRIORS["EVEN"]
            )
            if found >= math.log(10.0) and chance:
                accepted += chance
            elif chance:
                going[count] = chance
    assert accepted <= Fraction(1, 10)
    if weak == 3:
        assert accepted > Fraction(1, 50)


def test_what_is_certain_is_told_as_infinity() -> None:
    even = PRIORS["EVEN"]
    assert log_lot_evidence(0, 38, lot_size=40, reliability=0.95, prior=even) == math.inf
    assert log_lot_evidence(3, 3, lot_size=40, reliability=0.95, prior=even) == -math.inf
    assert log_lot_evidence(0, 0, lot_size=40, reliability=0.95, prior=even) == 0.0


def test_a_share_that_comes_out_whole_is_not_lost_to_rounding() -> None:
    # 100 (1 - 0.93) is 7 weak units, which floating point makes 6.999...
    allowed = log_lot_evidence(7, 7, lot_size=100, reliability=0.93, prior=PRIORS["EVEN"])
    assert math.isfinite(allowed)


def test_numbers_out_of_range_are_refused() -> None:
    even = PRIORS["EVEN"]
    with pytest.raises(OutsideDomainError, match="unit_count"):
        log_lot_evidence(0, 41, lot_size=40, reliability=0.95, prior=even)
    with pytest.raises(OutsideDomainError, match="failure_count"):
        log_lot_evidence(5, 4, lot_size=40, reliability=0.95, prior=even)
    with pytest.raises(OutsideDomainError, match="lot_size"):
        log_lot_evidence(0, 0, lot_size=0, reliability=0.95, prior=even)
