"""Evidence at every look against quadrature, and its promise against simulation."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate

from analysis.errors import OutsideDomainError
from analysis.statistics.anytime_evidence import (
    PRIORS,
    anytime_lower_limit,
    lives_reaching,
    lives_to_accept,
    log_evidence,
)
from schemas.anytime import AnytimePrior, PriorDensity

NAMES = st.sampled_from(sorted(PRIORS))
COUNTS = st.integers(0, 60)
LIVES = st.floats(0.0, 200.0)


def by_quadrature(count: int, lives: float, prior: PriorDensity) -> float:
    """The definition, integrated with the density's own singularity at 0 as a weight."""
    power = prior.shape - 1.0

    def part(failures: int, at: float) -> float:
        # rho^(a - 1) is the weight of the rule; scaled by exp(-at) against overflow.
        found, _ = integrate.quad(
            lambda rho: rho**failures * math.exp(-(prior.rate + at) * rho),
            0.0,
            1.0,
            weight="alg",
            wvar=(power, 0.0),
            epsabs=0.0,
            epsrel=1e-13,
            limit=400,
        )
        return math.log(found) + at

    return part(count, lives) - part(0, 0.0)


@pytest.mark.parametrize("name", sorted(PRIORS))
@pytest.mark.parametrize(
    ("count", "lives"), [(0, 0.0), (0, 2.4), (1, 5.9), (3, 10.0), (7, 1.0), (40, 0.5), (12, 60.0)]
)
def test_evidence_equals_quadrature(name: AnytimePrior, count: int, lives: float) -> None:
    reference = by_quadrature(count, lives, PRIORS[name])
    assert log_evidence(count, lives, prior=PRIORS[name]) == pytest.approx(
        reference, rel=1e-12, abs=1e-12
    )


def test_evidence_is_right_where_the_incomplete_gamma_function_underflows() -> None:
    # P(401.5, 9) is below 1e-450. For r far above x the mean is that of rho^r near rho = 1.
    assert log_evidence(400, 1.0, prior=PRIORS["EVEN"]) == pytest.approx(
        by_quadrature(400, 1.0, PRIORS["EVEN"]), rel=1e-12
    )


# Computed apart from this project with SciPy 1.17.1, roots of the same definition; no
# published source. As multiples of the fixed plan they are the price of free looking.
TO_ACCEPT = {
    ("CLEAN", 0.90): (2.435, 5.904, 8.569, 10.926),
    ("EVEN", 0.90): (2.744, 5.234, 7.440, 9.483),
    ("PATIENT", 0.90): (3.262, 5.199, 7.046, 8.827),
    ("CLEAN", 0.95): (3.162, 6.679, 9.382, 11.772),
    ("EVEN", 0.95): (3.545, 6.082, 8.329, 10.409),
    ("PATIENT", 0.95): (4.192, 6.165, 8.046, 9.859),
}


@pytest.mark.parametrize(("choice", "printed"), TO_ACCEPT.items())
def test_the_lives_that_accept_are_those_computed_apart(
    choice: tuple[AnytimePrior, float], printed: tuple[float, ...]
) -> None:
    name, confidence = choice
    found = [lives_to_accept(r, confidence=confidence, prior=PRIORS[name]) for r in range(4)]
    assert [round(each, 3) for each in found] == list(printed)


@given(NAMES, COUNTS, LIVES, st.floats(0.001, 50.0))
@settings(max_examples=60)
def test_evidence_rises_with_what_was_run_and_falls_with_failures(
    name: AnytimePrior, count: int, lives: float, more: float
) -> None:
    prior = PRIORS[name]
    here = log_evidence(count, lives, prior=prior)
    assert log_evidence(count, lives + more, prior=prior) > here
    assert log_evidence(count + 1, lives, prior=prior) < here


@given(NAMES, COUNTS, st.floats(0.01, 0.99), st.floats(0.5, 0.999))
@settings(max_examples=40)
def test_the_limit_agrees_with_the_verdict(
    name: AnytimePrior, count: int, confidence: float, reliability: float
) -> None:
    prior = PRIORS[name]
    needed = lives_to_accept(count, confidence=confidence, prior=prior) / -math.log(reliability)
    for share, accepts in ((1.0 + 1e-9, True), (1.0 - 1e-9, False)):
        limit = anytime_lower_limit(needed * share, count, confidence=confidence, prior=prior)
        assert (limit >= reliability) is accepts


def test_a_level_that_is_reached_from_the_start_asks_for_nothing() -> None:
    assert lives_reaching(0, math.log(0.1), prior=PRIORS["EVEN"]) == 0.0
    assert lives_reaching(5, math.log(0.1), prior=PRIORS["EVEN"]) > 0.0


@pytest.mark.parametrize("name", sorted(PRIORS))
def test_a_lot_at_the_requirement_is_seldom_accepted_however_often_one_looks(
    name: AnytimePrior,
) -> None:
    # Failures of such a lot come as a Poisson process of rate 1 in requirement lives, and
    # evidence peaks just before a failure: those places are all looks there are.
    lots, failures, confidence = 20_000, 60, 0.90
    rng = np.random.default_rng(20_261_125)
    at = rng.exponential(1.0, (lots, failures)).cumsum(axis=1)
    needed = [
        lives_to_accept(r, confidence=confidence, prior=PRIORS[name]) for r in range(failures)
    ]
    accepted = float((at >= np.array(needed)).any(axis=1).mean())
    error = math.sqrt(0.09 / lots)
    assert 0.10 - 8 * error < accepted < 0.10 + 3 * error


def test_numbers_out_of_range_are_refused() -> None:
    with pytest.raises(OutsideDomainError, match="failure_count"):
        log_evidence(-1, 1.0, prior=PRIORS["EVEN"])
    with pytest.raises(OutsideDomainError, match="requirement_lives"):
        log_evidence(0, math.nan, prior=PRIORS["EVEN"])
    with pytest.raises(OutsideDomainError, match="shape"):
        log_evidence(0, 1.0, prior=PriorDensity(shape=0.0, rate=1.0))
    with pytest.raises(OutsideDomainError, match="confidence"):
        lives_to_accept(0, confidence=1.0, prior=PRIORS["EVEN"])
    with pytest.raises(OutsideDomainError, match="target_lives"):
        anytime_lower_limit(0.0, 0, confidence=0.9, prior=PRIORS["EVEN"])
