"""Are these units one population, and which shape do the lots of a part show."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Literal

from msgspec import UNSET

from analysis.decision.life_fit import observed_lives
from analysis.errors import AnalysisError
from analysis.statistics.life_records import LifeRecords
from analysis.statistics.log_rank import log_rank_test
from analysis.statistics.population_tests import population_tests
from analysis.statistics.shape_evidence import shape_evidence
from schemas.estimates import NotEstimable
from schemas.lives import UnitLife
from schemas.lot_comparisons import (
    ComparedBy,
    GroupedBy,
    LotGroup,
    LotHomogeneity,
    LotNotUsed,
    PartShapeEvidence,
    UngroupedUnit,
)
from schemas.problems import ProblemError
from service.errors import InvalidRequest, ServiceError
from service.storage import lots
from service.storage.lots import LotFilter
from service.storage.store import Cursor, Store
from service.workflows.computing import Workers
from service.workflows.fit_report import settled
from service.workflows.lot_lives import LotLives, answer_key, read_lot_lives

MOST_OTHER_LOTS = 50
"""Lots that one question may compare a lot with."""
MOST_LOTS_OF_PART = 500
"""Lots of a part that are read for its shape: the ones named first."""


class Populations:
    """Questions about several groups of units at once; nothing is recorded."""

    def __init__(self, store: Store, workers: Workers) -> None:
        self._store = store
        self._workers = workers

    async def homogeneity(
        self, lot_id: str, by: GroupedBy | None, other_lots: Sequence[str]
    ) -> LotHomogeneity:
        """
        Whether groups of a lot's units, or whole lots, may share one Weibull.

        Parameters
        ----------
        lot_id : str
        by : {"STATION", "RIG", "COMPONENT_BATCH"} or None
            How the lot's units are told apart; None to compare lots.
        other_lots : sequence of str
            Lots to compare with; empty where `by` is given.

        Raises
        ------
        InvalidRequest
            If not exactly one of `by` and `other_lots` is given, a lot stands twice, or
            there are too many.
        NotFound
            If there is no such lot.
        """
        _check_comparison(lot_id, by, other_lots)
        read = await self._store.read(
            lambda db: [read_lot_lives(db, each) for each in (lot_id, *other_lots)]
        )
        return await self._workers.run(lambda: _homogeneity(read, by))

    async def shape_evidence(
        self, part_number: str, *, confidence: float, leave_out_lots: Sequence[str]
    ) -> PartShapeEvidence:
        """
        Common Weibull shape of the lots of a part.

        Parameters
        ----------
        part_number : str
        confidence : float, keyword only
            One-sided confidence of each limit of the shape, above 0.5.
        leave_out_lots : sequence of str, keyword only
            Ids of lots that take no part, the lot to be judged above all.

        Raises
        ------
        NotFound
            If a lot to be left out does not exist.
        """

        def question(db: Cursor) -> tuple[list[str], list[LotLives], list[LotNotUsed]]:
            left_out = [
                lots.find_lot(db, lots.lot_key_of(db, each)).lot_number for each in leave_out_lots
            ]
            chosen = LotFilter(part_number=part_number)
            found = lots.list_lots(db, chosen, after=0, limit=MOST_LOTS_OF_PART)
            used, unread = [], []
            for _, lot in found:
                if lot.lot_id in leave_out_lots:
                    continue
                read = _readable(db, lot.lot_id, lot.lot_number)
                if isinstance(read, LotNotUsed):
                    unread.append(read)
                else:
                    used.append(read)
            return left_out, used, unread

        left_out, used, unread = await self._store.read(question)
        return await self._workers.run(
            lambda: _shape_evidence(
                part_number, used, unread, confidence=confidence, left_out=left_out
            )
        )


def _check_comparison(lot_id: str, by: GroupedBy | None, other_lots: Sequence[str]) -> None:
    code, detail = "", ""
    if (by is None) == (not other_lots):
        code = "EXACTLY_ONE"
        detail = "Give by, to compare groups of this lot, or other_lot, to compare lots; not both."
    elif len({lot_id, *other_lots}) <= len(other_lots):
        code, detail = "REPEATED_LOT", "Name every lot once; this one is compared anyway."
    elif len(other_lots) > MOST_OTHER_LOTS:
        code, detail = "TOO_MANY_LOTS", f"Compare with at most {MOST_OTHER_LOTS} other lots."
    if code:
        raise InvalidRequest([ProblemError(code=code, detail=detail, parameter="other_lot")])


def _homogeneity(read: Sequence[LotLives], by: GroupedBy | None) -> LotHomogeneity:
    lot = read[0]
    named, ungrouped = _groups(read, by)
    records = {name: observed_lives([life.outcome for life in each]) for name, each in named}
    usable = {name: each for name, each in records.items() if isinstance(each, LifeRecords)}
    compared_by: ComparedBy = "LOT" if by is None else by
    broken = [each for each in records.values() if isinstance(each, NotEstimable)]
    tests = broken[0] if broken else settled(lambda: population_tests(usable))
    log_rank = broken[0] if broken else settled(lambda: log_rank_test(usable))
    return LotHomogeneity(
        lot_id=lot.lot_id,
        lot_number=lot.lot_number,
        compared_by=compared_by,
        groups=[
            LotGroup(
                name=name,
                unit_count=len(lives),
                failure_count=sum(life.outcome.failed for life in lives),
            )
            for name, lives in named
        ],
        moved_unit_count=0 if by is None else sum(_has_moved(life, by) for life in lot.lives),
        ungrouped_units=ungrouped,
        tests=tests,
        log_rank=log_rank,
        answer_key=answer_key("homogeneity", read, by),
        provenance=[each.provenance for each in read],
    )


def _groups(
    read: Sequence[LotLives], by: GroupedBy | None
) -> tuple[list[tuple[str, list[UnitLife]]], list[UngroupedUnit]]:
    """Groups by name with their units, and the units that no group takes."""
    groups: dict[str, list[UnitLife]] = {}
    ungrouped = []
    for lot in read:
        for life in lot.lives:
            name = lot.lot_number if by is None else _group_of(life, by)
            if not life.outcome.failed and life.outcome.credited_cycles == 0:
                ungrouped.append(_ungrouped(life, "NO_CREDITED_CYCLES"))
            elif name is None:
                ungrouped.append(_ungrouped(life, "GROUP_NOT_RECORDED"))
            else:
                groups.setdefault(name, []).append(life)
    in_order = groups.items() if by is None else sorted(groups.items())
    return list(in_order), ungrouped


def _ungrouped(
    life: UnitLife, reason: Literal["NO_CREDITED_CYCLES", "GROUP_NOT_RECORDED"]
) -> UngroupedUnit:
    return UngroupedUnit(unit_id=life.unit_id, unit_serial=life.unit_serial, reason=reason)


_NAMES: dict[GroupedBy, Callable[[UnitLife], str | None]] = {
    "RIG": lambda life: None if life.last_rig_id is UNSET else life.last_rig_id,
    "STATION": lambda life: (
        None
        if life.last_rig_id is UNSET or life.last_station_no is UNSET
        else f"{life.last_rig_id} station {life.last_station_no}"
    ),
    "COMPONENT_BATCH": lambda life: None if life.component_batch is UNSET else life.component_batch,
}


def _group_of(life: UnitLife, by: GroupedBy) -> str | None:
    """Group of a unit: where it was last, or what it is made of; None if not recorded."""
    return _NAMES[by](life)


def _has_moved(life: UnitLife, by: GroupedBy) -> bool:
    """Whether a unit was on more than one station, or rig, in its life."""
    if by == "COMPONENT_BATCH":
        return False
    places = {(each.rig_id, each.station_no if by == "STATION" else 0) for each in life.stretches}
    return len(places) > 1


def _readable(db: Cursor, lot_id: str, lot_number: str) -> LotLives | LotNotUsed:
    """Lives of a lot, or the reason why they cannot be read: one lot never breaks the answer."""
    try:
        return read_lot_lives(db, lot_id)
    except (AnalysisError, ServiceError) as refusal:
        reason = str(getattr(refusal, "code", "LIVES_NOT_READABLE"))
        return LotNotUsed(lot_id=lot_id, lot_number=lot_number, reason=reason)


def _shape_evidence(
    part_number: str,
    read: Sequence[LotLives],
    unread: Sequence[LotNotUsed],
    *,
    confidence: float,
    left_out: Sequence[str],
) -> PartShapeEvidence:
    not_used = list(unread)
    records: dict[str, LifeRecords] = {}
    for lot in read:
        found = observed_lives([life.outcome for life in lot.lives])
        if isinstance(found, LifeRecords):
            records[lot.lot_number] = found
        else:
            not_used.append(
                LotNotUsed(lot_id=lot.lot_id, lot_number=lot.lot_number, reason=found.reason)
            )
    return PartShapeEvidence(
        part_number=part_number,
        lot_numbers=sorted(records),
        left_out_on_request=sorted(left_out),
        lots_not_used=not_used,
        evidence=settled(lambda: shape_evidence(records, confidence=confidence)),
        answer_key=answer_key("shape-evidence", read, (part_number, confidence, sorted(left_out))),
        provenance=[each.provenance for each in read],
    )
