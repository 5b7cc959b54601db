"""Judgements with their reasons: codes and the figures that each carries, no prose."""

from collections.abc import Sequence

from msgspec import UNSET, Struct, UnsetType

from analysis.decision.terms import Terms
from schemas.decisions import Reason, ReasonCode, RefusalKind, Verdict
from schemas.plan_kinds import PlanEvidence


class Judgement(Struct, frozen=True, kw_only=True):
    """A verdict on one requirement under one way of deciding the holds."""

    verdict: Verdict
    reasons: list[Reason]
    kind: RefusalKind | None = None

    def agrees_with(self, other: "Judgement") -> bool:
        """Whether both give the same verdict and, if it refuses, the same kind of refusal."""
        return self.verdict == other.verdict and self.kind == other.kind


class Standing(Struct, frozen=True, kw_only=True):
    """
    Where a lot stands in its plan: all that a verdict asks, whatever the plan's kind.

    `is_demonstrated` is the plan's own criterion, failures left aside. The upper limit
    is to be compared with `reliability_for_upper`; both are at the plan's own count.
    `line_reached` is a line of refusal that the lot has met; `evidence` is that of a plan
    which goes by it.
    """

    failure_count: int
    is_demonstrated: bool
    reliability_upper: float
    reliability_for_upper: float
    target_lives: float | UnsetType = UNSET
    target_lives_required: float | UnsetType = UNSET
    decided_count: int | UnsetType = UNSET
    line_reached: Reason | None = None
    evidence: PlanEvidence | UnsetType = UNSET


def progress(code: ReasonCode, standing: Standing, terms: Terms) -> Reason:
    """
    Reason that says how far a plan has come.

    For a variables plan the figures are target lives, in hand and required. For a plan
    by counting `unit_count` is the number of units decided so far.
    """
    if standing.decided_count is UNSET:
        return Reason(
            code=code,
            target_lives=standing.target_lives,
            target_lives_required=standing.target_lives_required,
        )
    return Reason(
        code=code,
        unit_count=standing.decided_count,
        failure_count=standing.failure_count,
        allowed_failures=terms.most_failures,
    )


def failures_exceeded(standing: Standing, terms: Terms) -> Reason:
    """More failures than the plan allows."""
    return Reason(
        code="ALLOWED_FAILURES_EXCEEDED",
        failure_count=standing.failure_count,
        allowed_failures=terms.most_failures,
    )


def upper_limit_below(standing: Standing) -> Reason:
    """The upper limit of the reliability lies below the requirement."""
    return Reason(
        code="UPPER_LIMIT_BELOW_REQUIREMENT",
        reliability_upper=standing.reliability_upper,
        reliability_required=standing.reliability_for_upper,
    )


def about_units(code: ReasonCode, serials: Sequence[str]) -> Reason:
    """Reason that names units."""
    return Reason(code=code, unit_count=len(serials), unit_serials=list(serials))


def merged(judgements: Sequence[Judgement]) -> list[Reason]:
    """Reasons of several requirements, each said once, in the order of the requirements."""
    reasons: list[Reason] = []
    for judgement in judgements:
        reasons += [reason for reason in judgement.reasons if reason not in reasons]
    return reasons
