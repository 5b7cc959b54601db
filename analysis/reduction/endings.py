"""How a life ends: the first relevant failure, a removal, or the count that was reached."""

from collections.abc import Sequence
from datetime import datetime

from msgspec import Struct, structs

from analysis.reduction.failure_analysis import analysed
from analysis.reduction.failure_points import FailurePoint
from analysis.reduction.failures import first_failure_in_rows
from analysis.reduction.inspected import found_before_the_first_cycle, joined_at_one_count
from analysis.reduction.modes import (
    UNANALYSED,
    failure_found,
    is_clean,
    mode_seen_as,
    needs_inspection,
)
from analysis.reduction.onset_ends import with_onset
from analysis.reduction.stops import class_of_stretch
from analysis.reduction.tallies import tally_before
from schemas.lives import Ending, FailureSeen
from schemas.onsets import OnsetFinding
from schemas.quantities import MOST_CYCLES
from schemas.specs import FailureMode, Spec
from schemas.stretches import CycleTally, StretchSummary
from schemas.unit_evidence import LocatedInspection, UnitEvidence


class LifeEnd(Struct, frozen=True, kw_only=True):
    """
    How one reading of the evidence ends.

    A failure seen in the rows has `cycles`; one found at an inspection, or right
    after missing rows, lies in (`cycles_low`, `cycles_high`]. `at_counted` and
    `at_logged` are the cycles up to the ending and `up_to` tells of them;
    `verified_cycles` is what is known to be sound.
    """

    ending: Ending
    at_counted: int
    at_logged: int
    verified_cycles: int
    has_ended: bool
    cycles: int | None = None
    cycles_low: int | None = None
    cycles_high: int | None = None
    failure: FailureSeen | None = None
    marks: tuple[str, ...] = ()
    up_to: CycleTally = CycleTally()
    onset: OnsetFinding | None = None

    @property
    def failed(self) -> bool:
        """Whether the unit failed in a relevant mode."""
        return self.ending in ("FAILED", "FAILED_BETWEEN")

    @property
    def is_critical(self) -> bool:
        """Whether it is a failure of which one occurrence refuses the lot."""
        return bool(self.failed and self.failure and self.failure.critical)

    @property
    def credited_cycles(self) -> int:
        """Cycles that acceptance may count."""
        if self.ending == "FAILED_BETWEEN":
            return self.cycles_low or 0
        if self.ending == "FAILED":
            return self.cycles or 0
        return self.verified_cycles

    @property
    def most_cycles(self) -> int:
        """Cycles that caution counts when a lot is to be shown below its requirement."""
        return max(self.at_counted, self.cycles_high or 0)


def planned_cycles(spec: Spec) -> int:
    """Cycles that finish a unit under every requirement; without any, none is finished."""
    planned = (spec.plan.planned_for(each.target_cycles) for each in spec.requirement)
    return max(planned, default=MOST_CYCLES)


def last_clean(
    inspections: Sequence[LocatedInspection], spec: Spec, up_to_counted: int | None = None
) -> LocatedInspection | None:
    """Clean inspection with the most counted cycles before it, up to a count if given."""
    looks = [*inspections, *joined_at_one_count(inspections, spec)]
    clean = [
        located
        for located in looks
        if is_clean(located.inspection, spec)
        and (up_to_counted is None or located.counted_cycles <= up_to_counted)
    ]
    return max(clean, key=lambda located: located.counted_cycles, default=None)


def end_of_life(evidence: UnitEvidence, stretches: Sequence[StretchSummary], spec: Spec) -> LifeEnd:
    """
    How the unit's life ends under one reading of its rows.

    Parameters
    ----------
    evidence : UnitEvidence
        Inspections, events and rigs of the unit.
    stretches : sequence of StretchSummary
        The unit's stretches in order, under the reading.
    spec : Spec
        Specification that says what counts.

    Returns
    -------
    LifeEnd
        The earliest of the failures seen in rows, found at inspections, and
        removals; otherwise the count reached so far.

    Notes
    -----
    First failure without repair: what comes after it is kept but adds nothing.
    A failure seen exactly in the rows stands against an inspection that finds
    one later; a mode that is not relevant ends the life as a suspension where
    the rows show it, and ends nothing where an inspection does.
    """
    ends = [
        *_ends_in_rows(stretches, evidence, spec),
        *_ends_at_inspections(evidence, spec),
        *_removals(evidence, spec),
    ]
    # An exact failure goes before a bracket that ends at the same count.
    first = min(ends, key=lambda end: (end.at_counted, end.ending != "FAILED"), default=None)
    end = first or _still_whole(evidence, stretches, spec)
    return with_onset(
        end, stretches, evidence, spec, lambda failed: as_analysed(failed, evidence, spec)
    )


def _ends_in_rows(
    stretches: Sequence[StretchSummary], evidence: UnitEvidence, spec: Spec
) -> list[LifeEnd]:
    ends = []
    for point in first_failure_in_rows(stretches, spec, evidence.cannot_build):
        mode = mode_seen_as(spec, point.seen_as)
        if mode is not None:
            ends.append(_end_at(point, mode, evidence, spec))
    return ends


def _end_at(point: FailurePoint, mode: FailureMode, evidence: UnitEvidence, spec: Spec) -> LifeEnd:
    seen = FailureSeen(
        seen_as=point.seen_as,
        failure_mode=UNANALYSED,
        critical=mode.critical,
        relevant=mode.relevant,
        rig_id=point.rig_id,
        run_id=point.run_id,
        cycle_in_run=point.cycle_in_run,
    )
    counted = point.counted_cycles
    found = analysed(seen, (counted,), evidence.analyses, spec)
    relevant = found.seen.relevant
    end = LifeEnd(
        ending="FAILED" if relevant else "SUSPENDED",
        at_counted=counted,
        at_logged=point.logged_cycles,
        verified_cycles=counted if relevant else _verified(evidence, spec, counted),
        has_ended=True,
        cycles=counted,
        failure=found.seen,
        up_to=point.up_to,
    )
    widened = _widened(end, point) if relevant and point.missing_before else end
    return hidden_before(widened, found.clean_cycles)


def _widened(end: LifeEnd, point: FailurePoint) -> LifeEnd:
    """
    A failure right after missing rows: it may have come in any cycle that they left out.

    Or it began with the cycles before them that were over the limit already.
    """
    before = point.counted_cycles - point.is_counted - point.over_before
    return structs.replace(
        end,
        ending="FAILED_BETWEEN",
        verified_cycles=before,
        cycles=None,
        cycles_low=before,
        cycles_high=point.counted_cycles + point.missing_before,
    )


def hidden_before(end: LifeEnd, clean_cycles: int | None) -> LifeEnd:
    """
    The same end if older, hidden damage was found that was surely absent up to a count.

    Parameters
    ----------
    end : LifeEnd
        A failure, or one that does not count and ended the life as a suspension.
    clean_cycles : int or None
        Counted cycles up to which the damage was absent; None where none was found.

    Returns
    -------
    LifeEnd
        A bracket that begins at `clean_cycles`, or earlier where it did so before. An end
        at or before that count is unchanged.
    """
    if clean_cycles is None or clean_cycles >= end.credited_cycles:
        return end
    if not end.failed:
        return structs.replace(end, verified_cycles=clean_cycles)
    return structs.replace(
        end,
        ending="FAILED_BETWEEN",
        verified_cycles=clean_cycles,
        cycles=None,
        cycles_low=clean_cycles,
        cycles_high=end.cycles if end.cycles_high is None else end.cycles_high,
    )


def as_analysed(end: LifeEnd, evidence: UnitEvidence, spec: Spec) -> LifeEnd:
    """A failure that was signed to have happened, with the word of the unit's failure records."""
    if not end.failed or end.failure is None or end.failure.failure_id:
        return end
    counts = (end.cycles, end.cycles_low, end.cycles_high)
    found = analysed(end.failure, counts, evidence.analyses, spec)
    named = structs.replace(end, failure=found.seen)
    return hidden_before(named if found.seen.relevant else _as_suspended(named), found.clean_cycles)


def _as_suspended(end: LifeEnd) -> LifeEnd:
    """A failure that does not count: the unit stopped there, sound as far as it was verified."""
    return structs.replace(
        end, ending="SUSPENDED", cycles=end.at_counted, cycles_low=None, cycles_high=None
    )


def _ends_at_inspections(evidence: UnitEvidence, spec: Spec) -> list[LifeEnd]:
    ends, inspections = [], evidence.inspections
    for located in inspections:
        mode = failure_found(located.inspection, spec)
        if mode is None or not mode.relevant:
            continue
        # A check after it at the same count, of a unit put right meanwhile, clears nothing.
        earlier = [each for each in inspections if _when(each) < _when(located)]
        clean = last_clean(earlier, spec)
        low = clean.counted_cycles if clean else 0
        missing = located.unlogged_cycles - (clean.unlogged_cycles if clean else 0)
        seen = FailureSeen(
            seen_as="FUNCTION" if located.inspection.function_check == "FAIL" else "LEAK",
            failure_mode=located.inspection.failure_mode or UNANALYSED,
            critical=mode.critical,
            relevant=True,
            inspection_key=located.inspection.inspection_key,
        )
        end = _bracket(low, located.counted_cycles + max(missing, 0), located, seen)
        ends.append(as_analysed(_before_start(end, located, spec), evidence, spec))
    return ends


def _before_start(end: LifeEnd, located: LocatedInspection, spec: Spec) -> LifeEnd:
    """Marked where the unit was found failed before its first cycle; void if so specified."""
    if not found_before_the_first_cycle(located):
        return end
    excluded = spec.failure.failed_before_start_is_excluded
    return structs.replace(
        end, ending="VOID" if excluded else end.ending, marks=("FAILED_BEFORE_START",)
    )


def _when(located: LocatedInspection) -> tuple[int, datetime]:
    return located.counted_cycles, located.inspection.inspected_at


def _bracket(low: int, high: int, located: LocatedInspection, seen: FailureSeen) -> LifeEnd:
    """
    Failed after `low` counted cycles and at or before the inspection.

    `high` is the inspection's count, and on top of it the cycles since the last clean
    look that have no row: they may have counted.
    """
    if high <= low:
        # Nothing was run since the last clean look: the count itself is the life.
        return LifeEnd(
            ending="FAILED",
            at_counted=high,
            at_logged=located.logged_cycles,
            verified_cycles=high,
            has_ended=True,
            cycles=high,
            failure=seen,
            up_to=located.up_to,
        )
    return LifeEnd(
        ending="FAILED_BETWEEN",
        at_counted=located.counted_cycles,
        at_logged=located.logged_cycles,
        verified_cycles=low,
        has_ended=True,
        cycles_low=low,
        cycles_high=high,
        failure=seen,
        up_to=located.up_to,
    )


def _removals(evidence: UnitEvidence, spec: Spec) -> list[LifeEnd]:
    """
    Removals and repairs: the life ends there; whether as a failure is a question apart.

    A unit that had reached its planned count by then is a run-out, or waits for its end check.
    """
    ends = []
    for located in evidence.events:
        if located.event.kind in ("REMOVED", "REWORK"):
            counted = located.counted_cycles
            verified = _verified(evidence, spec, counted)
            ending, marks = at_plan(counted, verified, spec) or ("SUSPENDED", ())
            ends.append(
                LifeEnd(
                    ending=ending,
                    at_counted=counted,
                    at_logged=located.logged_cycles,
                    verified_cycles=verified,
                    has_ended=ending != "RUNNING",
                    cycles=counted,
                    marks=marks,
                    up_to=located.up_to,
                )
            )
    return ends


def _still_whole(
    evidence: UnitEvidence, stretches: Sequence[StretchSummary], spec: Spec
) -> LifeEnd:
    counted = sum(stretch.counted_cycles for stretch in stretches)
    verified = _verified(evidence, spec, counted)
    ending, marks = at_plan(counted, verified, spec) or _unfinished(evidence, stretches, spec)
    return LifeEnd(
        ending=ending,
        at_counted=counted,
        at_logged=sum(stretch.logged_cycles for stretch in stretches),
        verified_cycles=verified,
        has_ended=ending == "RUN_OUT",
        cycles=counted,
        marks=marks,
        up_to=tally_before(stretches, len(stretches)),
    )


def _verified(evidence: UnitEvidence, spec: Spec, counted: int) -> int:
    """Of `counted` cycles those after which the unit is known to be sound."""
    if not needs_inspection(spec):
        return counted
    clean = last_clean(evidence.inspections, spec, counted)
    return clean.counted_cycles if clean else 0


def at_plan(counted: int, verified: int, spec: Spec) -> tuple[Ending, tuple[str, ...]] | None:
    """Ending of a unit that has its planned count; None where it is short of it."""
    planned = planned_cycles(spec)
    if counted < planned:
        return None
    return ("RUN_OUT", ()) if verified >= planned else ("RUNNING", ("END_CHECK_DUE",))


def _unfinished(
    evidence: UnitEvidence, stretches: Sequence[StretchSummary], spec: Spec
) -> tuple[Ending, tuple[str, ...]]:
    """Ending of a unit short of its planned count, by its last stretch."""
    if not stretches:
        return "RUNNING", ("NOT_STARTED",)
    last = stretches[-1]
    if last.stop_reason is None and evidence.is_newest_on_station:
        return "RUNNING", ()
    if spec.requirement and class_of_stretch(last, evidence.rigs) == "TARGET_REACHED":
        return "SUSPENDED", ("PLANNED_NOT_COUNTED",)
    return "SUSPENDED", ()
