"""Lives at several pressures that a caller sends, and what can be said about life at another."""

from __future__ import annotations

from typing import Annotated

from msgspec import UNSET, Meta, Struct, UnsetType

from schemas.acceleration import (
    DamageSum,
    EquivalentRange,
    LifeAtPressure,
    PressureChecks,
    PressureLifeFit,
    PressureMeasure,
)
from schemas.estimates import NotEstimable
from schemas.fit_limits import Limits
from schemas.fit_requests import MOST_LIVES, FailedFractions, ObservedLife
from schemas.quantities import MOST_CYCLES, LimitConfidence

PositivePressure = Annotated[
    float, Meta(ge=0.001, le=10_000, description="Pressure by the stated measure, MPa.")
]
Exponent = Annotated[
    float, Meta(ge=0, le=100, description="Power by which life falls with pressure.")
]


class PressureLife(ObservedLife, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One life, or several units that share it, and the pressure it was tested at."""

    pressure_mpa: PositivePressure


class ExponentRange(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Exponents that are held possible; an assumed one is never a single number."""

    low: Exponent
    high: Exponent


class CyclesAtPressure(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Cycles that were run at one pressure."""

    pressure_mpa: PositivePressure
    cycles: Annotated[float, Meta(ge=0, le=MOST_CYCLES)]


class NewAcceleration(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """
    Body of a question about life against pressure. Nothing of it is stored.

    `pressure_counts` asks for the cycles at the use pressure that do the same damage;
    `assumed_exponents` gives them over a range instead of the fitted exponent alone.
    """

    measure: PressureMeasure
    use_pressure_mpa: PositivePressure
    confidence: LimitConfidence
    lives: Annotated[list[PressureLife], Meta(min_length=1, max_length=MOST_LIVES)]
    fractions: FailedFractions = []
    pressure_counts: Annotated[list[CyclesAtPressure], Meta(max_length=MOST_LIVES)] = []
    assumed_exponents: ExponentRange | UnsetType = UNSET


class AccelerationReport(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    Life against pressure by an inverse power law, and life at the use pressure.

    Limits are one-sided with `confidence` each. `at_use_pressure.standing` says whether the
    use pressure lies among those tested; outside, the answer is an extrapolation that
    rests on the law and on one failure mode. `exponent` and `shape` are absent where there
    is no fit. `checks` say whether the lives contradict it.
    """

    measure: PressureMeasure
    use_pressure_mpa: float
    confidence: float
    fit: PressureLifeFit | NotEstimable
    at_use_pressure: LifeAtPressure | NotEstimable
    checks: PressureChecks | NotEstimable
    exponent: Limits | UnsetType = UNSET
    shape: float | UnsetType = UNSET
    damage: DamageSum | NotEstimable | UnsetType = UNSET
    damage_over_assumed_exponents: EquivalentRange | UnsetType = UNSET
