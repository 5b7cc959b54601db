"""What a test of some units says about the units of the lot that were not tested."""

from msgspec import Struct

from schemas.estimates import NotEstimable


class RemainingFailures(Struct, frozen=True, kw_only=True):
    """
    Failures to be expected among the untested units of a lot if they all run to a count.

    With the one-sided confidence no more than `failures_upper` of `remaining_units` fail
    before `up_to_cycles`: a prediction of a number of units, which allows for the chance in
    the test and for the chance in what is still to come. `failures_expected` is the number
    at the estimated life, with no confidence; it needs a failure. `runs_to_count` is the
    sum of the lives tested, counted in runs to `up_to_cycles` at `shape`, the shape of the
    range `shape_low` to `shape_high` where it is least.
    """

    failures_upper: int
    failures_expected: float | NotEstimable
    remaining_units: int
    up_to_cycles: float
    runs_to_count: float
    shape: float
    shape_low: float
    shape_high: float
    failure_count: int
    confidence: float


class RemainingNonconforming(Struct, frozen=True, kw_only=True):
    """
    Units that would fail among the untested ones, from a test of others to the same count.

    With the one-sided confidence no more than `nonconforming_upper` of `remaining_units`
    would fail if they ran what the tested units were to run.
    """

    nonconforming_upper: int
    remaining_units: int
    conforming_fraction_lower: float
    lot_size: int
    unit_count: int
    failure_count: int
    confidence: float
