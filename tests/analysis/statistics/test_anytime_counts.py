"""Evidence from counts against quadrature, and its promise at every unit by recursion."""

import math

import pytest
from scipy import integrate

from analysis.errors import OutsideDomainError
from analysis.statistics.anytime_counts import (
    log_count_evidence,
    log_count_evidence_below,
    units_to_accept,
)
from analysis.statistics.anytime_evidence import PRIORS, log_evidence
from schemas.anytime import AnytimePrior, PriorDensity


def by_quadrature(count: int, units: int, reliability: float, prior: PriorDensity) -> float:
    allowed = 1.0 - reliability
    other = 1.0 + prior.rate / allowed

    def part(failures: int, passes: int) -> float:
        found, _ = integrate.quad(
            lambda p: (
                (p / allowed) ** failures
                * math.exp((passes + other - 1.0) * math.log1p(-p) - passes * math.log1p(-allowed))
            ),
            0.0,
            allowed,
            weight="alg",
            wvar=(prior.shape - 1.0, 0.0),
            epsabs=0.0,
            epsrel=1e-13,
        )
        return math.log(found)

    return part(count, units - count) - part(0, 0)


@pytest.mark.parametrize("name", sorted(PRIORS))
@pytest.mark.parametrize(("count", "units"), [(0, 0), (0, 45), (1, 100), (9, 30), (2, 400)])
@pytest.mark.parametrize("reliability", [0.7, 0.95, 0.999])
def test_evidence_equals_quadrature(
    name: AnytimePrior, count: int, units: int, reliability: float
) -> None:
    reference = by_quadrature(count, units, reliability, PRIORS[name])
    found = log_count_evidence(count, units, reliability=reliability, prior=PRIORS[name])
    assert found == pytest.approx(reference, rel=1e-11, abs=1e-11)


# Reliability 0.95, confidence 0.90, computed apart from this project; no published source.
UNITS = {"CLEAN": [48, 116, 169, 216], "EVEN": [54, 103, 147, 187], "PATIENT": [63, 102, 139, 174]}


@pytest.mark.parametrize(("name", "printed"), UNITS.items())
def test_the_units_that_accept_are_those_computed_apart(
    name: AnytimePrior, printed: list[int]
) -> None:
    found = [
        units_to_accept(r, reliability=0.95, confidence=0.90, prior=PRIORS[name]) for r in range(4)
    ]
    assert found == printed


def test_many_units_of_a_very_reliable_part_give_the_answer_of_target_lives() -> None:
    reliability = 1.0 - 1e-5
    counted = log_count_evidence(2, 700_000, reliability=reliability, prior=PRIORS["EVEN"])
    lives = 700_000 * -math.log(reliability)
    assert counted == pytest.approx(log_evidence(2, lives, prior=PRIORS["EVEN"]), rel=1e-4)


@pytest.mark.parametrize(("count", "units"), [(0, 0), (0, 50), (3, 12), (30, 60), (200, 200)])
def test_evidence_below_equals_quadrature(count: int, units: int) -> None:
    allowed = 0.05
    other = 1.0 + 0.5 / allowed

    def part(failures: int, passes: int) -> float:
        found, _ = integrate.quad(
            lambda p: (
                math.exp(
                    failures * math.log(p / allowed)
                    + passes * (math.log1p(-p) - math.log1p(-allowed))
                    - 600.0 * (failures > 100)
                )
                * (1.0 - p) ** (other - 1.0)
            ),
            allowed,
            1.0,
            epsabs=0.0,
            epsrel=1e-13,
            limit=400,
        )
        return math.log(found) + 600.0 * (failures > 100)

    reference = part(count, units - count) - part(0, 0)
    found = log_count_evidence_below(count, units, reliability=1.0 - allowed)
    assert found == pytest.approx(reference, rel=1e-11, abs=1e-11)


def test_evidence_below_is_right_where_the_incomplete_beta_function_underflows() -> None:
    # One failure among 60,000 at an allowed share of one half: the upper part of the beta
    # integral is of the order of 0.5 to the 60,000th.
    units = 60_000
    found = log_count_evidence_below(1, units, reliability=0.5)
    # Near p = 1/2 the integrand falls like exp(-2 n (p - 1/2)): 2 failures' worth of prior
    # density there, over 2 n. Compared to a part in a hundred only.
    before = math.log(0.5**2 / 2.0)
    reference = math.log(0.5 / (2.0 * units)) - before
    assert found == pytest.approx(reference, abs=0.02)


@pytest.mark.parametrize("name", sorted(PRIORS))
def test_a_lot_at_the_requirement_is_seldom_accepted_looked_at_after_every_unit(
    name: AnytimePrior,
) -> None:
    # Exact: the chance of each count of failures is carried from unit to unit.
    level, allowed, going, accepted = math.log(10.0), 0.2, {0: 1.0}, 0.0
    for units in range(1, 151):
        after: dict[int, float] = {}
        for count, chance in going.items():
            after[count] = after.get(count, 0.0) + chance * (1.0 - allowed)
            after[count + 1] = after.get(count + 1, 0.0) + chance * allowed
        going = {}
        for count, chance in after.items():
            enough = log_count_evidence(count, units, reliability=0.8, prior=PRIORS[name]) >= level
            accepted += chance * enough
            if not enough and chance > 1e-9:
                going[count] = chance
    assert 0.05 < accepted <= 0.10


def test_numbers_out_of_range_are_refused() -> None:
    with pytest.raises(OutsideDomainError, match="failure_count"):
        log_count_evidence(3, 2, reliability=0.9, prior=PRIORS["EVEN"])
    with pytest.raises(OutsideDomainError, match="reliability"):
        log_count_evidence_below(0, 2, reliability=1.0)
    with pytest.raises(OutsideDomainError, match="confidence"):
        units_to_accept(0, reliability=0.9, confidence=2.0, prior=PRIORS["EVEN"])
