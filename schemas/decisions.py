"""Verdicts, the figures behind them, and recorded decisions."""

from datetime import datetime
from typing import Literal

from msgspec import UNSET, Struct, UnsetType

from schemas.edge_rules import EdgeShare, UnderEdgeRules
from schemas.estimates import NotEstimable, WeibullFit
from schemas.holds import Hold
from schemas.lives import NoticeCode
from schemas.plan_kinds import NextFailure, PlanEvidence, PlanRisks
from schemas.quantities import Name, Text
from schemas.sample_figures import SampleFigures
from schemas.specs import SpecReference
from schemas.station_drifts import StationDrift

Verdict = Literal["ACCEPT", "REJECT", "CONTINUE", "HOLD"]
RefusalKind = Literal["NOT_DEMONSTRATED", "SHOWN_BELOW_REQUIREMENT"]
ReasonCode = Literal[
    "ALLOWED_FAILURES_EXCEEDED",
    "TARGET_LIVES_SHORT",
    "CRITICAL_FAILURE",
    "UPPER_LIMIT_BELOW_REQUIREMENT",
    "REFUSAL_LINE_REACHED",
    "PLAN_NOT_FINISHED",
    "END_CHECK_DUE",
    "NO_DATA",
    "NO_SPEC",
    "OPEN_HOLDS",
    "SPEC_AFTER_DATA",
]


class Reason(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Why the verdict is what it is: a code and the figures that go with it."""

    code: ReasonCode
    target_lives: float | UnsetType = UNSET
    target_lives_required: float | UnsetType = UNSET
    failure_count: int | UnsetType = UNSET
    allowed_failures: int | UnsetType = UNSET
    unit_count: int | UnsetType = UNSET
    reliability_upper: float | UnsetType = UNSET
    reliability_required: float | UnsetType = UNSET
    unit_serials: list[str] | UnsetType = UNSET


class PlanProgress(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Where the lot stands in its plan. Attribute plans have no target lives."""

    kind: str
    unit_count: int
    max_units: int
    planned_cycles: int
    allowed_failures: int
    credit: str | UnsetType = UNSET
    target_lives: float | UnsetType = UNSET
    target_lives_required: float | UnsetType = UNSET
    worst_shape: float | UnsetType = UNSET
    reliability_required_at_planned: float | UnsetType = UNSET
    evidence: PlanEvidence | UnsetType = UNSET
    risks: PlanRisks | UnsetType = UNSET
    next_failure: NextFailure | UnsetType = UNSET


class Evidence(Struct, frozen=True, kw_only=True):
    """What there is: units, endings, cycles."""

    unit_count: int
    started_count: int
    ended_count: int
    failure_count: int
    counted_cycles: int
    credited_cycles: int
    open_hold_count: int


class ShapeRow(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The Weibayes limit at one shape. Shapes outside the range are for display only."""

    shape: float
    target_lives: float
    reliability_lower: float
    outside_range: bool = False


class WeibayesView(Struct, frozen=True, kw_only=True):
    """Variables view: the limit at the worst shape of the range decides."""

    confidence: float
    at_cycles: int
    failure_count: int
    target_lives_required: float
    target_lives_worst: float
    worst_shape: float
    target_lives_at_low: float
    target_lives_at_high: float
    target_lives_at_assumed: float
    reliability_lower_worst: float
    reliability_lower_at_assumed: float
    reliability_upper_largest: float
    by_shape: list[ShapeRow]
    assumes: Literal["ONE_POPULATION", "NO_LIFE_DISTRIBUTION"]


class AttributeView(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Pass or fail at one count, whatever the life distribution."""

    confidence: float
    at_cycles: int
    decided_count: int
    failure_count: int
    reliability_lower_of_decided: float
    survivor_count_for_upper: int
    reliability_upper: float
    reliability_required: float | UnsetType = UNSET


class RequirementResult(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One requirement of the specification: verdict, reasons, both views."""

    reliability: float
    confidence: float
    target_cycles: int
    verdict: Verdict
    reasons: list[Reason]
    plan: PlanProgress
    attribute_at_target: AttributeView
    kind: RefusalKind | UnsetType = UNSET
    variables: WeibayesView | UnsetType = UNSET
    attribute_at_planned: AttributeView | UnsetType = UNSET


class Views(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What each way of arguing would say; only the plan's own view decides."""

    decides: Literal["ATTRIBUTE", "VARIABLES"]
    attribute: Literal["ACCEPT", "CONTINUE", "NOT_DEMONSTRATED", "SHOWN_BELOW_REQUIREMENT"]
    variables: (
        Literal["ACCEPT", "CONTINUE", "NOT_DEMONSTRATED", "SHOWN_BELOW_REQUIREMENT"] | UnsetType
    ) = UNSET


class UnderHolds(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The verdict with every open hold decided in the lot's favour, and against it."""

    best: Verdict
    worst: Verdict
    best_kind: RefusalKind | UnsetType = UNSET
    worst_kind: RefusalKind | UnsetType = UNSET


class WayToFinish(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Something that would finish the plan: units, cycles each, failures it tolerates."""

    kind: Literal[
        "FINISH_DECLARED_UNITS",
        "RUN_ON",
        "ADD_UNITS",
        "CHECK_AT_END",
        "DECIDE_HOLDS",
        "NEW_ATTRIBUTE_TEST",
        "NEW_WEIBAYES_TEST",
    ]
    unit_count: int | UnsetType = UNSET
    cycles_each: int | UnsetType = UNSET
    cycles_in_all: int | UnsetType = UNSET
    target_lives_missing: float | UnsetType = UNSET
    allowed_failures: int | UnsetType = UNSET
    unit_serials: list[str] | UnsetType = UNSET


class UnitLine(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One unit in an evaluation."""

    unit_id: str
    unit_serial: str
    ending: str
    counted_cycles: int
    credited_cycles: int
    plan_credit_cycles: int
    marks: list[str]
    hold_names: list[str]
    cycles: int | UnsetType = UNSET
    cycles_low: int | UnsetType = UNSET
    cycles_high: int | UnsetType = UNSET
    failure_mode: str | UnsetType = UNSET
    seen_as: str | UnsetType = UNSET
    component_batch: str | UnsetType = UNSET
    after_credit: bool = False
    counts_less: bool = False
    edge: EdgeShare | UnsetType = UNSET


class ExcludedFailure(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    A failure that two persons signed to count less than it would.

    Not relevant: it is a suspension at `counted_cycles`. Relevant still: it is no longer
    critical, or is credited longer than an earlier record left it.
    """

    unit_id: str
    unit_serial: str
    seen_as: str
    failure_mode: str
    relevant: bool
    critical: bool
    counted_cycles: int
    record_id: str | UnsetType = UNSET


class VerdictIfCounted(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The verdict if every excluded failure counted in full."""

    verdict: Verdict
    kind: RefusalKind | UnsetType = UNSET


class UnitNotice(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A hazard at a unit that people must hear of, whatever the verdict."""

    code: NoticeCode
    unit_id: str
    unit_serial: str
    seen_as: str
    failure_mode: str
    inspection_key: str | UnsetType = UNSET
    record_id: str | UnsetType = UNSET


class Provenance(Struct, frozen=True, kw_only=True):
    """What the answer rests on: enough to compute it again."""

    evaluation_key: str
    lives_key: str
    method_version: int
    reduction_version: int
    limit: str
    success_run_convention: str
    software: str
    libraries: dict[str, str]
    facts_as_of: datetime | UnsetType = UNSET


class Estimates(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Estimates beside the verdict; none of them decides."""

    weibull_fit: WeibullFit | NotEstimable


class Evaluation(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    What can be said about a lot now. Computing it records nothing.

    The body has no clock value except recorded instants, so equal facts give
    equal bytes and the evaluation key is the entity tag.
    """

    lot_id: str
    lot_number: str
    verdict: Verdict
    robust_to_open_holds: bool
    reasons: list[Reason]
    marks: list[str]
    evidence: Evidence
    estimates: Estimates
    units: list[UnitLine]
    holds: list[Hold]
    under_holds: UnderHolds
    still_needed: list[WayToFinish]
    options_needing_new_spec: list[WayToFinish]
    provenance: Provenance
    requirements: list[RequirementResult] = []
    spec: SpecReference | UnsetType = UNSET
    kind: RefusalKind | UnsetType = UNSET
    views: Views | UnsetType = UNSET
    what_if: bool = False
    decided_holds: list[Hold] = []
    edge_rule: UnderEdgeRules | UnsetType = UNSET
    station_drifts: list[StationDrift] = []
    notices: list[UnitNotice] = []
    excluded_failures: list[ExcludedFailure] = []
    verdict_if_counted: VerdictIfCounted | UnsetType = UNSET
    sample: SampleFigures | UnsetType = UNSET


DecisionMark = Literal["WITHDRAWN_BY_CORRECTION"]
"""WITHDRAWN_BY_CORRECTION: an ACCEPT that rested on rows which a later record corrected."""
RowChangeKind = Literal["CALIBRATION", "UPLOAD_WITHDRAWN", "SERIAL_CORRECTED"]


class RowChange(Struct, frozen=True, kw_only=True):
    """A record that changed what the rows of some units say, by its kind and id."""

    kind: RowChangeKind
    record_id: str
    recorded_at: datetime


class NewDecision(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Body of a decision: what the signature means and why. The verdict is the evaluation's."""

    meaning: Name
    reason: Text


class Decision(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    A recorded verdict. Never edited; later facts only set `decision_outdated` and `marks`.

    `withdrawn_by` names the records that corrected rows on which a marked ACCEPT rested.
    """

    decision_id: str
    lot_id: str
    lot_number: str
    verdict: Verdict
    reasons: list[Reason]
    spec: SpecReference
    evaluation_key: str
    meaning: str
    reason: str
    decided_at: datetime
    decided_by: str
    actor_kind: Literal["SYSTEM", "PERSON"]
    evaluation: Evaluation
    decision_outdated: bool
    kind: RefusalKind | UnsetType = UNSET
    marks: list[DecisionMark] = []
    withdrawn_by: list[RowChange] = []
