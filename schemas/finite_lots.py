"""Samples from a lot of known size: the plan, and what a finished sample says about the lot."""

from msgspec import Struct


class FiniteLotPlan(Struct, frozen=True, kw_only=True, tag="FINITE_LOT_PLAN"):
    """
    Fewest units of a lot that show how many nonconforming units it held at most.

    The claim speaks of the lot before sampling, the sample included: it held no more than
    `max_nonconforming` (D). It is tested against a lot with D + 1. `confidence_reached` is
    the one-sided confidence with exactly the allowed failures, `confidence_one_unit_less`
    what one unit fewer would have given.
    """

    lot_size: int
    max_nonconforming: int
    confidence: float
    allowed_failures: int
    unit_count: int
    confidence_reached: float
    confidence_one_unit_less: float


class FiniteLotBound(Struct, frozen=True, kw_only=True):
    """
    Most nonconforming units a lot may hold after a sample, with one-sided confidence.

    `nonconforming_in_lot_upper` speaks of the lot before sampling, the failures found
    included; `nonconforming_remaining_upper` of the units that were not tested.
    `conforming_fraction_lower` belongs to the lot before sampling. Units tested to the end
    of their life are used up: claim one of the two, not both.
    """

    lot_size: int
    unit_count: int
    failure_count: int
    confidence: float
    nonconforming_in_lot_upper: int
    nonconforming_remaining_upper: int
    conforming_fraction_lower: float
