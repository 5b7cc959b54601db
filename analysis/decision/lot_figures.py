"""What there is of a lot, whatever the specification: totals and one line per unit."""

from collections.abc import Sequence

from msgspec import UNSET

from analysis.decision.counting import may_have_failed_by, plan_credit
from analysis.decision.terms import Terms
from schemas.decisions import Evidence, UnitLine
from schemas.lives import UnitLife


def evidence_figures(lives: Sequence[UnitLife], *, open_hold_count: int) -> Evidence:
    """
    Units, endings and cycles of a lot, as reduced.

    Failures are all relevant ones that were seen, those beyond the credit of a plan
    included; credited cycles are not capped by any plan.
    """
    return Evidence(
        unit_count=len(lives),
        started_count=sum("NOT_STARTED" not in life.marks for life in lives),
        ended_count=sum(life.outcome.has_ended for life in lives),
        failure_count=sum(life.outcome.failed for life in lives),
        counted_cycles=sum(life.totals.counted_cycles for life in lives),
        credited_cycles=sum(life.outcome.credited_cycles for life in lives),
        open_hold_count=open_hold_count,
    )


def unit_line(life: UnitLife, terms: Sequence[Terms]) -> UnitLine:
    """
    One unit in an evaluation.

    Parameters
    ----------
    life : UnitLife
        The unit's life.
    terms : sequence of Terms
        The requirements with their plan; empty without a specification. Credit is that
        of the first one, and a failure counts if it does for any.

    Returns
    -------
    UnitLine
    """
    outcome = life.outcome
    credit = plan_credit(outcome, terms[0]) if terms else outcome.credited_cycles
    counts = not terms or any(
        may_have_failed_by(outcome, each.last_credited_cycles) for each in terms
    )
    failure = life.failure
    return UnitLine(
        unit_id=life.unit_id,
        unit_serial=life.unit_serial,
        ending=life.ending,
        counted_cycles=life.totals.counted_cycles,
        credited_cycles=outcome.credited_cycles,
        plan_credit_cycles=credit,
        marks=life.marks,
        hold_names=[hold.name for hold in life.holds],
        cycles=life.cycles,
        cycles_low=life.cycles_low,
        cycles_high=life.cycles_high,
        failure_mode=failure.failure_mode if failure else UNSET,
        seen_as=failure.seen_as if failure else UNSET,
        component_batch=life.component_batch,
        after_credit=outcome.failed and not counts,
        counts_less=bool(failure and failure.counts_less),
        edge=life.edge,
    )
