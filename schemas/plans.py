"""Planning a demonstration before a specification exists: how many units, how many cycles."""

from msgspec import UNSET, Struct, UnsetType

from schemas.estimates import NotEstimable
from schemas.finite_lots import FiniteLotBound, FiniteLotPlan


class WeibayesQuestion(Struct, frozen=True, kw_only=True):
    """
    What a demonstration with an assumed Weibull shape is to show.

    Exactly one of `unit_count` and `cycles_per_unit` is given; the other is asked for.
    """

    reliability: float
    confidence: float
    target_cycles: int
    shape_low: float
    shape_high: float
    allowed_failures: int
    assumed_shape: float | None = None
    unit_count: int | None = None
    cycles_per_unit: int | None = None


class LengthOfTest(Struct, frozen=True, kw_only=True):
    """Units and cycles each of them runs, worked out at one Weibull shape."""

    shape: float
    unit_count: int
    cycles_per_unit: int


class WeibayesPlan(Struct, frozen=True, kw_only=True):
    """
    Units and cycles that a demonstration with an assumed Weibull shape needs.

    `binomial` counts units that all run to a common count; it holds whatever
    happens to a failed unit. `poisson` suits a test that ends when the realised
    target lives reach `target_lives_required`. Both are worked out at the shape
    of the range that asks most; the figures at the assumed shape are for
    display only. The two forms agree when no failure is allowed.
    """

    reliability: float
    confidence: float
    target_cycles: int
    allowed_failures: int
    shape_low: float
    shape_high: float
    target_lives_required: float
    binomial: LengthOfTest
    poisson: LengthOfTest
    binomial_at_assumed_shape: LengthOfTest | UnsetType = UNSET
    poisson_at_assumed_shape: LengthOfTest | UnsetType = UNSET
    assumes: str = "ONE_POPULATION"


class FiniteLotQuestion(Struct, frozen=True, kw_only=True):
    """
    What a sample of a lot of known size is to show, or what a finished one shows.

    Either `max_nonconforming` and `allowed_failures`, which asks for the units to test, or
    `unit_count` and `failure_count`, which asks what the finished sample shows.
    """

    lot_size: int
    confidence: float
    max_nonconforming: int | None = None
    allowed_failures: int | None = None
    unit_count: int | None = None
    failure_count: int | None = None


class FiniteLotAnswer(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    A sample of a lot of known size: the `plan` that was asked for, or the `bound`.

    Units are drawn without putting back, so fewer are needed than from an endless
    production. A claim about this lot says nothing about the next one.
    """

    lot_size: int
    confidence: float
    plan: FiniteLotPlan | NotEstimable | UnsetType = UNSET
    bound: FiniteLotBound | UnsetType = UNSET
