"""Which unit a row belongs to: the one that the file names, unless a correction says another."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime

from msgspec import Struct

from schemas.corrections import CorrectionScope, NamedUnit, NewCorrection
from schemas.quantities import MOST_CYCLES

EARLIEST = datetime(1, 1, 1)
LATEST = datetime(9999, 1, 1)
StretchName = tuple[str, str, int, str, str]
"""Rig, run, station, lot number and serial, as a file names them."""


class Redirection(Struct, frozen=True, kw_only=True):
    """
    Rows of one written stretch that belong to a unit: instants in UTC, counters included.

    `started_before` is not included.
    """

    lot_number: str
    unit_serial: str
    started_from: datetime = EARLIEST
    started_before: datetime = LATEST
    first_cycle: int = 0
    last_cycle: int = MOST_CYCLES

    @property
    def is_whole(self) -> bool:
        """Whether it holds for every row of the stretch."""
        instants = (self.started_from, self.started_before)
        counters = (self.first_cycle, self.last_cycle)
        return instants == (EARLIEST, LATEST) and counters == (0, MOST_CYCLES)


def redirections_of(
    corrections: Iterable[NewCorrection], name: StretchName, upload_id: str
) -> list[Redirection]:
    """
    What corrections say of a stretch of a file, each overriding those before it.

    Parameters
    ----------
    corrections : iterable of NewCorrection
        Oldest first.
    name : StretchName
        As the file names it.
    upload_id : str
        Of the file.

    Returns
    -------
    list of Redirection
        Empty if none speaks of the stretch; else it begins with one for all of its rows.

    Examples
    --------
    >>> from schemas.corrections import NamedUnit
    >>> mistyped = NewCorrection(
    ...     correction_key="c1", meaning="mistyped", reason="label read again",
    ...     written=NamedUnit(lot_number="CC25-0117", unit_serial="O01"),
    ...     belongs_to=NamedUnit(lot_number="CC25-0117", unit_serial="001"))
    >>> found = redirections_of([mistyped], ("RIG-A", "7", 1, "CC25-0117", "O01"), "up_1")
    >>> [each.unit_serial for each in found]
    ['001']
    """
    rig_id, run_id, station_no, lot_number, unit_serial = name
    place = (rig_id, run_id, station_no)
    found = [
        _redirection(each, unit_serial)
        for each in corrections
        if _names(each.written, lot_number, unit_serial) and _reaches(each.scope, place, upload_id)
    ]
    whole = [number for number, each in enumerate(found) if each.is_whole]
    if whole:
        return found[whole[-1] :]
    own = Redirection(lot_number=lot_number, unit_serial=unit_serial)
    return [own, *found] if found else []


def unit_of_life(
    corrections: Iterable[NewCorrection], lot_number: str, unit_serial: str, upload_id: str
) -> tuple[str, str]:
    """Lot and serial that a row of a lives table belongs to; the newest correction holds."""
    unit = (lot_number, unit_serial)
    for each in corrections:
        if _names(each.written, lot_number, unit_serial) and reaches_lives(each.scope, upload_id):
            unit = _unit(each.belongs_to, unit_serial)
    return unit


def reaches_lives(scope: CorrectionScope, upload_id: str | None = None) -> bool:
    """Whether a correction speaks of lives: they have no place and no time."""
    if upload_id is not None and scope.upload_id not in (None, upload_id):
        return False
    return all(
        getattr(scope, name) is None
        for name in CorrectionScope.__struct_fields__
        if name != "upload_id"
    )


def _names(written: NamedUnit, lot_number: str, unit_serial: str) -> bool:
    return written.lot_number == lot_number and written.unit_serial in (None, unit_serial)


def _reaches(scope: CorrectionScope, place: Sequence[str | int], upload_id: str) -> bool:
    asked = (scope.rig_id, scope.run_id, scope.station_no, scope.upload_id)
    known = (*place, upload_id)
    return all(want in (None, have) for want, have in zip(asked, known, strict=True))


def _redirection(correction: NewCorrection, unit_serial: str) -> Redirection:
    scope = correction.scope
    lot_number, serial = _unit(correction.belongs_to, unit_serial)
    first, last = scope.first_cycle_in_run, scope.last_cycle_in_run
    return Redirection(
        lot_number=lot_number,
        unit_serial=serial,
        started_from=_utc(scope.started_from, EARLIEST),
        started_before=_utc(scope.started_before, LATEST),
        first_cycle=0 if first is None else first,
        last_cycle=MOST_CYCLES if last is None else last,
    )


def _unit(belongs_to: NamedUnit, unit_serial: str) -> tuple[str, str]:
    return belongs_to.lot_number, belongs_to.unit_serial or unit_serial


def _utc(instant: datetime | None, otherwise: datetime) -> datetime:
    """An instant as rows hold it: in UTC without saying so."""
    return otherwise if instant is None else instant.astimezone(UTC).replace(tzinfo=None)
