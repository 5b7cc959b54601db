"""Which stretches of a lot ran while another unit was in their place, by their stored times."""

from __future__ import annotations

from collections.abc import Iterable

from analysis.reduction.identity import Span, identity_conflicts, spacings_wanted
from schemas.specs import Spec
from schemas.stretches import StretchSummary
from schemas.unit_evidence import IdentityConflict
from service.storage.lot_facts import LotFacts
from service.storage.rig_clocks import NeighbourRecord
from service.storage.store import Cursor
from service.workflows.sensing import UNKNOWN_SENSING
from service.workflows.stretch_summaries import stage_one_for


def find_identity_conflicts(
    db: Cursor, facts: LotFacts, spec: Spec, stretches: Iterable[StretchSummary]
) -> dict[int, list[IdentityConflict]]:
    """
    Conflicts of identity of a lot's units, by unit key.

    Parameters
    ----------
    db : Cursor
    facts : LotFacts
        With the stretches of other lots on the same stations.
    spec : Spec
        The specification; no limit of it matters here.
    stretches : iterable of StretchSummary
        Every lap of the lot's stretches.

    Returns
    -------
    dict of int to list of IdentityConflict
        Rows are asked only for stretches so close that their spacing decides.
    """
    spans = [*_own(facts, stretches), *map(_other, facts.neighbours)]
    spacings = stage_one_for(db, spec, UNKNOWN_SENSING).spacings(spacings_wanted(spans))
    return identity_conflicts(spans, spacings)


def _own(facts: LotFacts, stretches: Iterable[StretchSummary]) -> list[Span]:
    """Laps of the lot's stretches; a row that cannot be believed does not lengthen one."""
    serials = {unit.unit_key: unit.unit_serial for unit in facts.units}
    ends = {each.stretch_key: each.last_started_at for each in facts.stretches}
    return [
        Span(
            stretch_key=lap.stretch_key,
            unit_key=lap.unit_key,
            lot_number=facts.lot_number,
            unit_serial=serials[lap.unit_key],
            rig_id=lap.rig_id,
            run_id=lap.run_id,
            station_no=lap.station_no,
            first_at=lap.first_started_at,
            last_at=max(lap.first_started_at, min(lap.last_started_at, ends[lap.stretch_key])),
            row_count=lap.logged_cycles,
            lap=lap.lap,
            first_cycle_in_run=lap.first_cycle_in_run,
            last_cycle_in_run=lap.last_cycle_in_run,
        )
        for lap in stretches
    ]


def _other(neighbour: NeighbourRecord) -> Span:
    return Span(
        stretch_key=neighbour.stretch_key,
        unit_key=neighbour.unit_key,
        lot_number=neighbour.lot_number,
        unit_serial=neighbour.unit_serial,
        rig_id=neighbour.rig_id,
        run_id=neighbour.run_id,
        station_no=neighbour.station_no,
        first_at=neighbour.first_at,
        last_at=neighbour.last_at,
        row_count=neighbour.row_count,
    )
