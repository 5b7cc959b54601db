"""How recorded verdicts stand now: outdated by later facts, or withdrawn by a correction.

The one place where a decision is marked. A kind of record that changes what rows say adds
one function to `SOURCES`; nothing else has to know of it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from msgspec import structs

from schemas.decisions import Decision, Evaluation, UnitLine
from service.storage.store import Cursor
from service.workflows.calibration_changes import calibration_changes
from service.workflows.changes_of_rows import changes_of_rows
from service.workflows.evaluate_lot import evaluate_reading
from service.workflows.reduce_lot import LotReading, read_lot
from service.workflows.row_changes import UnitsChanged

Source = Callable[[Cursor, LotReading], list[UnitsChanged]]
"""Every record of one kind that changed rows of a lot, in the order of recording."""

SOURCES: tuple[Source, ...] = (calibration_changes, changes_of_rows)
"""Who is asked for changes of rows; one function for each kind of record."""


def as_they_stand(
    db: Cursor, lot_id: str, decided: Sequence[tuple[int, Decision]]
) -> list[tuple[int, Decision]]:
    """
    Recorded verdicts of one lot with how they stand now.

    Parameters
    ----------
    db : Cursor
    lot_id : str
        The lot that all of them are about.
    decided : sequence of tuple of int and Decision
        Entry numbers and decisions as they were recorded.

    Returns
    -------
    list of tuple of int and Decision
        `decision_outdated` where the lot's evaluation is another one by now. An ACCEPT is
        marked `WITHDRAWN_BY_CORRECTION` where a record that came after it changed the rows
        of a unit that it rested on, and that unit's line is another one by now;
        `withdrawn_by` names those records. A correction that changes no count and no ending
        leaves it unmarked, and a later record that undoes the first one clears the mark.
    """
    if not decided:
        return []
    reading = read_lot(db, lot_id)
    current = evaluate_reading(db, reading, keep=False)
    outdated = [each for _, each in decided if _is_outdated(each, current)]
    asked = any(each.verdict == "ACCEPT" for each in outdated)
    changes = [change for source in SOURCES for change in source(db, reading)] if asked else []
    return [(number, _as_of_now(number, each, current, changes)) for number, each in decided]


def _is_outdated(decision: Decision, current: Evaluation) -> bool:
    return decision.evaluation_key != current.provenance.evaluation_key


def _as_of_now(
    number: int, decision: Decision, current: Evaluation, changes: Sequence[UnitsChanged]
) -> Decision:
    outdated = _is_outdated(decision, current)
    withdrawn_by = []
    if outdated and decision.verdict == "ACCEPT":
        moved = _moved_units(decision.evaluation, current)
        withdrawn_by = [
            each.change for each in changes if each.entry_no > number and each.unit_ids & moved
        ]
    return structs.replace(
        decision,
        decision_outdated=outdated,
        marks=["WITHDRAWN_BY_CORRECTION"] if withdrawn_by else [],
        withdrawn_by=withdrawn_by,
    )


def _moved_units(decided: Evaluation, current: Evaluation) -> set[str]:
    """Units that a verdict rested on and whose life is another one now."""
    now = {line.unit_id: _life(line) for line in current.units}
    return {line.unit_id for line in decided.units if now.get(line.unit_id) != _life(line)}


def _life(line: UnitLine) -> tuple[object, ...]:
    counts = (line.counted_cycles, line.credited_cycles)
    return (line.ending, *counts, line.cycles, line.cycles_low, line.cycles_high)
