"""A test specification: what a lot must show, what counts, and by which plan."""

import math
from datetime import datetime
from typing import Annotated, Literal

from msgspec import UNSET, Meta, Struct, UnsetType

from schemas.edge_rules import EdgeRule
from schemas.plan_kinds import AnytimeLimits, SecondStage, SequentialLimits
from schemas.quantities import (
    Confidence,
    CycleCount,
    DegreesC,
    FailureCount,
    Hours,
    Key,
    LeakClass,
    Name,
    PositiveCycles,
    PressureMpa,
    PressureStepMpa,
    Reliability,
    Seconds,
    Shape,
    Text,
    UnitCount,
)

SeenAs = Literal["DECAY", "BURST", "CANNOT_BUILD", "LEAK", "FUNCTION"]
DetectedBy = Literal["CYCLES", "INSPECTION"]
PlanKind = Literal["ATTRIBUTE", "WEIBAYES", "TWO_STAGE", "SEQUENTIAL", "ANYTIME"]
Credit = Literal["TO_PLANNED", "ONCE_AT_TARGET"]
SpecState = Literal["DRAFT", "APPROVED", "SUPERSEDED"]
Persistent = Literal["CONSECUTIVE", "MOVING_AVERAGE"]


class _Read(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """Base of everything read from a caller: unknown fields are refused."""


class Requirement(_Read, frozen=True, kw_only=True):
    """At least `reliability` at `target_cycles`, shown with one-sided `confidence`."""

    reliability: Reliability
    confidence: Confidence
    target_cycles: PositiveCycles


class ShapeAssumption(_Read, frozen=True, kw_only=True):
    """Weibull shape from earlier evidence. The range decides, by its worst case."""

    assumed_shape: Shape
    shape_low: Shape
    shape_high: Shape
    source: Text


class Conditions(_Read, frozen=True, kw_only=True):
    """
    What a cycle must meet to count. Limits include both ends.

    `edge_rule` says how a peak near an edge of the band is judged. PLAIN: the reading
    decides; so is a specification read that does not say. GUARDED: the band is narrowed
    at both ends by the expanded uncertainty of the sensor.
    """

    pressure_lower_mpa: PressureMpa
    pressure_upper_mpa: PressureMpa
    station_modes: Annotated[list[str], Meta(min_length=1, max_length=10)]
    pressure_set_mpa: PressureMpa | None = None
    pressure_invalidation_mpa: PressureMpa | None = None
    pressure_low_max_mpa: PressureMpa | None = None
    dwell_time_min_s: Seconds | None = None
    rise_time_min_s: Seconds | None = None
    rise_time_max_s: Seconds | None = None
    fluid_temperature_min_c: DegreesC | None = None
    fluid_temperature_max_c: DegreesC | None = None
    edge_rule: EdgeRule = "PLAIN"


class Persistence(_Read, frozen=True, kw_only=True):
    """How long pressure decay must stay over its limit to be a failure."""

    rule: Persistent
    cycles: Annotated[int, Meta(ge=1, le=1000)]


class FailureMode(_Read, frozen=True, kw_only=True):
    """One manner of failing, how it shows, and whether it counts."""

    name: Name
    detected_by: DetectedBy
    seen_as: SeenAs
    relevant: bool
    critical: bool


class FailureDefinition(_Read, frozen=True, kw_only=True):
    """
    What is a failure.

    `failed_before_start_is_excluded`: a unit that its incoming inspection finds failed,
    before its first cycle, is void; otherwise it is a failure at 0 cycles. Either way it
    is marked.
    """

    modes: Annotated[list[FailureMode], Meta(min_length=1, max_length=50)]
    decay_limit_mpa: PressureMpa | None = None
    persistence: Persistence | None = None
    burst_below_mpa: PressureMpa | None = None
    leak_class_fails_at: LeakClass | None = None
    onset_is_failure: bool = False
    failed_before_start_is_excluded: bool = False


class CannotBuild(_Read, frozen=True, kw_only=True):
    """When failed attempts to reach pressure say something about the unit."""

    attempts: Annotated[int, Meta(ge=1, le=1000)]
    window_s: Seconds
    pressure_supply_min_mpa: PressureMpa | None = None


class SwapStep(_Read, frozen=True, kw_only=True):
    """Step between two stretches that asks whether the unit was exchanged."""

    decay_mpa: PressureMpa | None = None
    rise_time_s: Seconds | None = None


class OnsetSettings(_Read, frozen=True, kw_only=True):
    """
    Search for the start of a leak in block medians of pressure decay.

    `station_step_mpa` is the most by which the decay of a sound unit may change when it is
    moved to another station; where it is not stated no baseline is carried over a move.
    `sensor_step_mpa` is the step in which readings come, or by which the sensor's zero may
    move; where it is not stated no step is allowed for: brackets are narrower by that much,
    and a level just over the dead band can count as a leak.
    """

    block_cycles: Annotated[int, Meta(ge=10, le=10_000)]
    baseline_blocks: Annotated[list[int], Meta(min_length=2, max_length=2)]
    mask_after_start_cycles: CycleCount
    dead_band_mpa: PressureMpa
    alarm_mpa: PressureMpa
    station_step_mpa: PressureStepMpa | None = None
    sensor_step_mpa: PressureStepMpa | None = None


class ReductionSettings(_Read, frozen=True, kw_only=True):
    """Limits of the rules that turn rows into lives."""

    under_pressure_share_max: Annotated[float, Meta(ge=0, le=1)] | None = None
    clipped_cycles: Annotated[int, Meta(ge=1, le=1_000_000)] | None = None
    warm_up_cycles: CycleCount | None = None
    cannot_build: CannotBuild | None = None
    swap_step: SwapStep | None = None
    onset: OnsetSettings | None = None
    station_drift_mpa: Annotated[float, Meta(gt=0, le=10_000)] | None = None


class Plan(_Read, frozen=True, kw_only=True):
    """
    How the verdict is reached. Exactly one of planned_cycles and life_ratio is given.

    With `credit` a plan adds up target lives, without it it counts units. Each of
    `second_stage`, `sequential` and `anytime` belongs to the kind of its name.
    `lot_size` makes a plan by counting one on a lot of known size, the sample included.
    """

    kind: PlanKind
    unit_count: UnitCount
    allowed_failures: FailureCount
    overdue_hours: Hours
    planned_cycles: PositiveCycles | None = None
    life_ratio: Annotated[float, Meta(gt=0, le=1000)] | None = None
    credit: Credit | None = None
    max_units: UnitCount | None = None
    second_stage: SecondStage | None = None
    sequential: SequentialLimits | None = None
    anytime: AnytimeLimits | None = None
    lot_size: UnitCount | None = None

    @property
    def places(self) -> int:
        """Most units that may take a place in the plan."""
        if self.max_units is not None:
            return self.max_units
        second = self.second_stage
        added = second.unit_count if second is not None and second.unit_count else 0
        return self.unit_count + added

    @property
    def adds_target_lives(self) -> bool:
        """Whether the plan adds up target lives; else it counts units."""
        return self.kind == "WEIBAYES" or self.credit is not None

    def planned_for(self, target_cycles: int) -> int:
        """Cycles each unit is planned to run, for a requirement at `target_cycles`."""
        if self.planned_cycles is not None:
            return self.planned_cycles
        return math.ceil(round((self.life_ratio or 1.0) * target_cycles, 6))

    def credit_ends_at(self, target_cycles: int) -> int:
        """Count beyond which a unit earns nothing and a failure does not count."""
        planned = self.planned_for(target_cycles)
        return min(planned, target_cycles) if self.credit == "ONCE_AT_TARGET" else planned


class Spec(_Read, frozen=True, kw_only=True):
    """A whole test specification, as its author writes it."""

    spec_id: Key
    part_number: Name
    requirement: Annotated[list[Requirement], Meta(min_length=1, max_length=10)]
    conditions: Conditions
    failure: FailureDefinition
    reduction: ReductionSettings
    plan: Plan
    shape: ShapeAssumption | None = None
    part: Text | None = None
    inspection_interval_cycles: PositiveCycles | None = None
    spec_before_data: bool = False


class SpecApproval(_Read, frozen=True, kw_only=True):
    """Body of an approval: what the signature means and why it is given."""

    meaning: Name
    reason: Text


class SpecVersion(Struct, frozen=True, kw_only=True):
    """One version of a specification with its state. `hash` is of the canonical JSON."""

    spec_id: str
    version: int
    state: SpecState
    hash: str
    spec: Spec
    created_at: datetime
    created_by: str
    approved_at: datetime | UnsetType = UNSET
    approved_by: str | UnsetType = UNSET
    approval_meaning: str | UnsetType = UNSET
    approval_reason: str | UnsetType = UNSET
    settings_not_applied: list[str] = []


class SpecReference(Struct, frozen=True, kw_only=True):
    """Which specification an answer rests on."""

    spec_id: str
    version: int
    hash: str


class SpecSummary(Struct, frozen=True, kw_only=True):
    """A specification in a list: its newest version and state."""

    spec_id: str
    part_number: str
    version: int
    state: SpecState
    plan_kind: PlanKind
