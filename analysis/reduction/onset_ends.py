"""What leak onset does to the end of a life: a failure of its own, or a narrower bracket."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np
from msgspec import UNSET, Struct, structs

from analysis.reduction.blocks import number_blocks
from analysis.reduction.modes import UNANALYSED, mode_named, mode_seen_as
from analysis.reduction.order import up_to_logged
from analysis.reduction.tallies import tally_before
from analysis.reduction.unit_onset import onset_settings, unit_onset
from schemas.lives import FailureSeen
from schemas.onsets import OnsetFinding
from schemas.specs import FailureMode, Spec
from schemas.stretches import CycleTally, StretchSummary
from schemas.unit_evidence import LocatedOnset, UnitEvidence

if TYPE_CHECKING:
    from analysis.reduction.endings import LifeEnd

FAILED_BY_ONSET = "FAILED_BY_ONSET"
NARROWED_BY_ONSET = "NARROWED_BY_ONSET"


class OnsetPlace(Struct, frozen=True, kw_only=True):
    """The cycle by which onset is established: its stretch, and its counts in the unit's life."""

    stretch: StretchSummary
    cycle_in_run: int
    counted_cycles: int
    logged_cycles: int


def onset_fails(spec: Spec) -> FailureMode | None:
    """Mode of the failure that leak onset is under a specification; None where it is none."""
    mode = mode_seen_as(spec, "DECAY")
    if not spec.failure.onset_is_failure or onset_settings(spec) is None:
        return None
    return mode if mode is not None and mode.relevant else None


def with_onset(
    end: LifeEnd,
    stretches: Sequence[StretchSummary],
    evidence: UnitEvidence,
    spec: Spec,
    as_analysed: Callable[[LifeEnd], LifeEnd],
) -> LifeEnd:
    """
    The end of a life with what leak onset says about it.

    Parameters
    ----------
    end : LifeEnd
        How the life ends without a word about onset.
    stretches : sequence of StretchSummary
        The unit's stretches in order, with their blocks.
    evidence : UnitEvidence
        For the place of the onset in the rows.
    spec : Spec
        Says whether onset is looked for, and whether it is a failure.
    as_analysed : callable
        Takes the word of the unit's failure records about a failure.

    Returns
    -------
    LifeEnd

    Notes
    -----
    Where onset is a failure, the life is the bracket in which it lies, if it begins before
    the end found otherwise: growth of the decay comes before it crosses any limit. A unit
    that has not ended is verified up to where onset was judged, and no further.

    Where onset is none it only narrows: a failure that was found at an inspection in a
    mode seen as decay lies after the onset of its leak. An external leak hardly shows in
    the decay, so its bracket stays. So does that of a failure in missing rows: it begins
    at the last counted cycle, and no cycle in it has a number that onset could name.
    """
    mode = onset_fails(spec)
    if mode is None:
        return _narrowed(end, stretches, spec)
    found = unit_onset(stretches, spec, end.at_counted)
    if found is None:
        return end
    if found.state == "ONSET":
        return as_analysed(_failed_by_onset(end, found, mode, (stretches, evidence)))
    if end.has_ended:
        return structs.replace(end, onset=found)
    return structs.replace(
        end, onset=found, verified_cycles=min(end.verified_cycles, found.judged_to)
    )


def _failed_by_onset(
    end: LifeEnd,
    found: OnsetFinding,
    mode: FailureMode,
    at: tuple[Sequence[StretchSummary], UnitEvidence],
) -> LifeEnd:
    stretches, evidence = at
    low, high = found.low_cycles or 0, found.high_cycles or 0
    by = found.evidence.established_last_counted if found.evidence else high
    place = established_at(stretches, min(by, end.at_counted))
    counts = _counts_at(place, stretches, evidence.located_onset)
    return structs.replace(
        end,
        ending="FAILED_BETWEEN",
        at_counted=place.counted_cycles,
        at_logged=counts[0],
        verified_cycles=low,
        has_ended=True,
        cycles=None,
        cycles_low=low,
        cycles_high=high,
        failure=FailureSeen(
            seen_as="DECAY",
            failure_mode=UNANALYSED,
            critical=mode.critical,
            relevant=True,
            rig_id=place.stretch.rig_id,
            run_id=place.stretch.run_id,
            cycle_in_run=place.cycle_in_run,
        ),
        marks=(FAILED_BY_ONSET,),
        up_to=counts[1],
        onset=found,
    )


def established_at(stretches: Sequence[StretchSummary], counted_cycles: int) -> OnsetPlace:
    """
    Last cycle of the last block that ends at a count or before it.

    Parameters
    ----------
    stretches : sequence of StretchSummary
        The unit's stretches in order, with their blocks: one of them ends by then.
    counted_cycles : int
        The high end of the bracket, without cycles that lack.
    """
    blocks = [each for each in number_blocks(stretches) if each.first_counted[0] <= counted_cycles]
    inside = blocks[-1]
    number = max(int(np.searchsorted(inside.first_counted, counted_cycles, side="right")) - 1, 0)
    return OnsetPlace(
        stretch=inside.stretch,
        cycle_in_run=inside.figures.last_cycle_in_run[number],
        counted_cycles=min(int(inside.last_counted[number]), counted_cycles),
        logged_cycles=int(inside.last_logged[number]),
    )


def _counts_at(
    place: OnsetPlace, stretches: Sequence[StretchSummary], located: LocatedOnset | None
) -> tuple[int, CycleTally]:
    """Logged cycles up to a place and their tally: as counted, else whole stretches."""
    if located is not None and located.counted_cycles == place.counted_cycles:
        return located.logged_cycles, located.up_to
    lived = up_to_logged(stretches, place.logged_cycles)
    return place.logged_cycles, tally_before(lived, len(lived))


def _narrowed(end: LifeEnd, stretches: Sequence[StretchSummary], spec: Spec) -> LifeEnd:
    if end.ending != "FAILED_BETWEEN" or end.failure is None or not _shows_as_decay(end, spec):
        return end
    found = unit_onset(stretches, spec, end.at_counted)
    if found is None or found.low_cycles is None or found.low_cycles <= (end.cycles_low or 0):
        return end
    return structs.replace(
        end,
        verified_cycles=found.low_cycles,
        cycles_low=found.low_cycles,
        marks=(*end.marks, NARROWED_BY_ONSET),
    )


def _shows_as_decay(end: LifeEnd, spec: Spec) -> bool:
    """Found at an inspection, in a mode seen as decay; a record's word on older damage stands."""
    failure = end.failure
    if failure is None or failure.inspection_key is UNSET or failure.record_id is not UNSET:
        return False
    mode = mode_named(spec, failure.failure_mode)
    return mode is not None and mode.seen_as == "DECAY"
