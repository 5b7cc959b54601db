"""Exact risks of plans that may be looked at always, against figures computed apart."""

import math

import numpy as np
import pytest

from analysis.errors import OutsideDomainError
from analysis.statistics.anytime_evidence import PRIORS, lives_to_accept, log_evidence
from analysis.statistics.anytime_risks import (
    anytime_count_stops,
    anytime_outcomes,
    anytime_stops,
)
from analysis.statistics.sequential_exact import counted_outcome
from schemas.anytime import AnytimePrior

FIXED = math.log(10.0)
"""Requirement lives of the fixed plan without a failure, confidence 0.90."""
UNIT = math.exp(-1.0)
"""A requirement at which target lives and requirement lives are the same number."""


# Median length of accepted tests in multiples of the fixed plan, at failure rates of 1/2,
# 1/5 and 1/20 of the allowed one; computed apart from this project, no published source.
MEDIANS = {"CLEAN": (7.4, 1.06, 1.06), "EVEN": (5.0, 1.19, 1.19), "PATIENT": (4.6, 1.42, 1.42)}


@pytest.mark.parametrize(("name", "printed"), MEDIANS.items())
def test_half_of_good_lots_are_accepted_within_the_length_computed_apart(
    name: AnytimePrior, printed: tuple[float, ...]
) -> None:
    for rate, figure in zip((0.5, 0.2, 0.05), printed, strict=True):
        for count in range(60):
            lives = lives_to_accept(count, confidence=0.90, prior=PRIORS[name])
            plan = anytime_stops(
                reliability=UNIT,
                confidence=0.90,
                prior=PRIORS[name],
                most_failures=None,
                cap_target_lives=lives,
                give_up_evidence=None,
            )
            [outcome] = anytime_outcomes(plan, [math.exp(-rate)])
            if outcome.chance_of_acceptance >= 0.5:
                break
        assert lives / FIXED == pytest.approx(figure, abs=0.05 if figure > 2 else 0.005)


@pytest.mark.parametrize("reliability", [0.9, 0.95, 0.99])
@pytest.mark.parametrize("name", sorted(PRIORS))
def test_no_cap_and_no_line_lets_a_lot_at_the_requirement_pass_too_often(
    name: AnytimePrior, reliability: float
) -> None:
    allowed = -math.log(reliability)
    chances = []
    for cap, line in ((4.0, None), (20.0, None), (120.0, None), (20.0, 0.1), (20.0, 0.5)):
        plan = anytime_stops(
            reliability=reliability,
            confidence=0.90,
            prior=PRIORS[name],
            most_failures=None,
            cap_target_lives=cap / allowed,
            give_up_evidence=line,
        )
        [outcome] = anytime_outcomes(plan, [reliability])
        chances.append(outcome.chance_of_acceptance)
        assert outcome.chance_of_acceptance <= 0.10
    assert chances[0] < chances[1] < chances[2]
    assert chances[2] > 0.095
    assert chances[4] < chances[3] < chances[1]


def test_risk_and_length_with_a_line_equal_a_simulation() -> None:
    # EVEN, give-up at 0.1, cap of ten fixed plans: 0.96 at mean 1.98 for a fifth of the
    # allowed rate, a bad lot ends at 1.58, said figures computed apart with hourly looks.
    even = PRIORS["EVEN"]
    plan = anytime_stops(
        reliability=UNIT,
        confidence=0.90,
        prior=even,
        most_failures=None,
        cap_target_lives=10 * FIXED,
        give_up_evidence=0.1,
    )
    good, bad = anytime_outcomes(plan, [math.exp(-0.2), math.exp(-1.0)])
    assert good.chance_of_acceptance == pytest.approx(0.96, abs=0.005)
    assert good.mean_target_lives / FIXED == pytest.approx(1.98, abs=0.02)
    assert bad.mean_target_lives / FIXED == pytest.approx(1.58, abs=0.03)

    rng, lots = np.random.default_rng(404), 4_000
    accepted, length = 0, 0.0
    needed = plan.stops.accept_totals
    for _ in range(lots):
        at, count = 0.0, 0
        while True:
            following = at + rng.exponential(1.0)
            if following >= needed[count]:
                accepted, length = accepted + 1, length + needed[count]
                break
            at, count = following, count + 1
            if count > plan.most_failures or log_evidence(count, at, prior=even) <= math.log(0.1):
                length += at
                break
    error = math.sqrt(bad.chance_of_acceptance / lots)
    assert accepted / lots == pytest.approx(bad.chance_of_acceptance, abs=4 * error)
    assert length / lots == pytest.approx(bad.mean_target_lives, rel=0.06)


def test_a_cap_below_the_first_acceptance_is_refused_with_the_number_it_needs() -> None:
    with pytest.raises(OutsideDomainError, match=r"53\.49 or more"):
        anytime_stops(
            reliability=0.95,
            confidence=0.90,
            prior=PRIORS["EVEN"],
            most_failures=None,
            cap_target_lives=53.0,
            give_up_evidence=None,
        )


@pytest.mark.parametrize("name", sorted(PRIORS))
def test_counting_keeps_the_risk_after_every_unit(name: AnytimePrior) -> None:
    plan = anytime_count_stops(
        reliability=0.9, confidence=0.90, prior=PRIORS[name], most_units=300, most_failures=None
    )
    at_requirement, good = counted_outcome(plan, [0.9, 0.98])
    assert 0.05 < at_requirement.chance_of_acceptance <= 0.10
    assert good.chance_of_acceptance > 0.95


def test_without_a_cap_the_failures_that_are_allowed_end_the_plan() -> None:
    even = PRIORS["EVEN"]
    plan = anytime_stops(
        reliability=0.95,
        confidence=0.90,
        prior=even,
        most_failures=2,
        cap_target_lives=None,
        give_up_evidence=None,
    )
    assert plan.most_failures == 2
    assert plan.stops.reject_totals == {3: plan.stops.accept_totals[-1]}
    with pytest.raises(OutsideDomainError, match="most_failures"):
        anytime_stops(
            reliability=0.95,
            confidence=0.90,
            prior=even,
            most_failures=None,
            cap_target_lives=None,
            give_up_evidence=None,
        )
    counts = anytime_count_stops(
        reliability=0.95, confidence=0.90, prior=even, most_units=400, most_failures=1
    )
    assert counts.accept_at[-1] == 1
