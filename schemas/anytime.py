"""Evidence that stays valid at every look, and the plans that rest on it."""

from typing import Literal

from msgspec import Struct

from schemas.test_plans import TimedStops

AnytimePrior = Literal["CLEAN", "EVEN", "PATIENT"]
"""
Where a specification's author expects good lots to lie, chosen before the first cycle.

CLEAN: lots that hardly fail. PATIENT: lots near the requirement. EVEN: in between.
"""


class PriorDensity(Struct, frozen=True, kw_only=True):
    """
    Gamma density on the lot's failure rate as a multiple of the allowed one, cut to (0, 1).

    Neither its shape nor its rate has a unit.
    """

    shape: float
    rate: float


class AnytimeStops(Struct, frozen=True, kw_only=True):
    """
    A plan on target lives that may be looked at always, up to its cap.

    `stops` are in target lives: from which sum each number of failures is accepted, up to
    which a failure ends the test without acceptance. `most_failures` is the largest number
    that can still be accepted before the cap.
    """

    stops: TimedStops
    most_failures: int
    cap_target_lives: float | None


class AnytimeOutcome(Struct, frozen=True, kw_only=True):
    """Exact chance of acceptance and mean target lives of a plan, at one true reliability."""

    true_reliability: float
    chance_of_acceptance: float
    mean_target_lives: float
