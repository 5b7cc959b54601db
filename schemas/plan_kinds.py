"""What a test plan of a kind states besides its units and failures, and its exact risks."""

from typing import Annotated

from msgspec import UNSET, Meta, Struct, UnsetType

from schemas.anytime import AnytimePrior
from schemas.quantities import FailureCount, Fraction, Reliability, UnitCount

TargetLives = Annotated[
    float,
    Meta(gt=0, le=1e12, description="Sum of (cycles / target)^shape over all units."),
]


class _Read(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """Base of everything read from a caller: unknown fields are refused."""


class SecondStage(_Read, frozen=True, kw_only=True):
    """
    What a TWO_STAGE plan does when its first stage fails too often to accept.

    `allowed_failures` are those of both stages together. By counting, `unit_count` units
    are added. On target lives the first stage ends at `first_target_lives`; how many the
    second asks for follows from the requirement and stands on every answer.
    """

    allowed_failures: FailureCount
    unit_count: UnitCount | None = None
    first_target_lives: TargetLives | None = None


class SequentialLimits(_Read, frozen=True, kw_only=True):
    """
    Lines of a SEQUENTIAL plan: Wald's, between a good level and the requirement.

    The two risks shape the lines and are not those of the plan, which ends at its last
    unit (or at `last_target_lives`) with the plan's `allowed_failures`: its exact risks
    stand on every answer, and one above 1 - confidence cannot be approved.
    """

    good_reliability: Reliability
    producer_risk: Fraction
    consumer_risk: Fraction
    last_target_lives: TargetLives | None = None


class AnytimeLimits(_Read, frozen=True, kw_only=True):
    """
    What an ANYTIME plan fixes before the first cycle: where good lots are expected, its end.

    It ends without acceptance at `cap_target_lives`, when all its units have ended, and
    at a look whose evidence is `give_up_evidence` or less; without these two only failures
    and units end it.
    """

    prior: AnytimePrior
    cap_target_lives: TargetLives | None = None
    give_up_evidence: Annotated[float, Meta(gt=0, lt=1)] | None = None


class ChanceOfAcceptance(Struct, frozen=True, kw_only=True):
    """Exact chance that a plan accepts a lot of one true reliability at the target."""

    true_reliability: float
    chance: float


class PlanRisks(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    Exact risks of a plan as approved, at the assumed shape's worst case.

    `at_requirement` is the share of lots exactly at the requirement that it accepts; it
    is no statement about accepted lots. `most_allowed` is 1 - confidence.
    """

    at_requirement: float
    most_allowed: float
    operating_curve: list[ChanceOfAcceptance]


class NextFailure(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    What one more relevant failure now would do to the plan.

    `target_lives_required` or `units_required` is what the plan would then ask for in all;
    neither stands where it would refuse.
    """

    refuses: bool
    target_lives_required: float | UnsetType = UNSET
    units_required: int | UnsetType = UNSET


class PlanEvidence(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    Evidence of an ANYTIME plan so far, and how much of it accepts: 1 / (1 - confidence).

    `reliability_lower` is the limit at the target that holds at all looks together.
    """

    evidence: float
    evidence_required: float
    reliability_lower: float | UnsetType = UNSET
