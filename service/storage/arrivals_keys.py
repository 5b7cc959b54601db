"""The integer keys of an uploaded table: its lots, units, stretches and texts."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from msgspec import Struct

from schemas.problems import ProblemError
from service.errors import UploadRefused
from service.storage.arrivals_file import ROWS, ArrivedFile
from service.storage.lots import add_lot, lot_key_of_number
from service.storage.store import Cursor
from service.storage.units import ensure_units

MOST_GROUPS = 100_000
"""Most stretches, times the texts that change within them, of one upload."""
STRETCH_COLUMNS = ("rig_id", "run_id", "station_no", "lot_number", "unit_serial")
TEXT_COLUMNS = ("station_mode", "stop_reason", "sensor_id", "calibration_id")
_UNPRINTABLE = re.compile(r"[\x00-\x1f\x7f]")

_KNOWN_STRETCHES = """
SELECT b.rig_id, b.run_id, b.station_no, b.unit_key, b.stretch_key
FROM stretch_bases AS b
WHERE b.unit_key IN (SELECT unnest($unit_keys::INTEGER[]))
"""
_LAST_STRETCH = "SELECT coalesce(max(stretch_key), 0) FROM taken_stretches"
_ADD_STRETCHES = """
INSERT INTO taken_stretches (stretch_key, rig_id, run_id, station_no, unit_key)
SELECT unnest($keys), unnest($rig_ids), unnest($run_ids), unnest($station_nos), unnest($unit_keys)
"""
_KNOWN_TEXTS = "SELECT text, text_key FROM texts WHERE text IN (SELECT unnest($texts::VARCHAR[]))"
_LAST_TEXT = "SELECT coalesce(max(text_key), 0) FROM texts"
_ADD_TEXTS = "INSERT INTO texts (text_key, text) SELECT unnest($keys), unnest($texts)"


class Group(Struct, frozen=True):
    """Rows of a file that share stretch and texts. Texts in the order of `TEXT_COLUMNS`."""

    rig_id: str
    run_id: str
    station_no: int
    lot_number: str
    unit_serial: str
    texts: tuple[str | None, ...]
    row_count: int
    zero_count: int
    first_cycle_in_run: int
    last_cycle_in_run: int
    first_started_at: datetime
    last_started_at: datetime

    @property
    def stretch(self) -> StretchName:
        """What names the stretch, in the order of `STRETCH_COLUMNS`."""
        return (self.rig_id, self.run_id, self.station_no, self.lot_number, self.unit_serial)


StretchName = tuple[str, str, int, str, str]


class ArrivedStretch(Struct, frozen=True, kw_only=True):
    """One stretch of a file under its key, with the ranges of its counter and its instants."""

    stretch_key: int
    unit_key: int
    lot_key: int
    name: StretchName
    is_new: bool
    row_count: int
    zero_count: int
    first_cycle_in_run: int
    last_cycle_in_run: int
    first_started_at: datetime
    last_started_at: datetime


class KeyedFile(Struct, frozen=True, kw_only=True):
    """
    A cycle table found in order, with all its keys.

    `finite` names the columns in which every cell holds a finite number,
    `texts` has the key of every text of the file.
    """

    file: ArrivedFile
    finite: frozenset[str]
    groups: list[Group]
    stretches: list[ArrivedStretch]
    texts: Mapping[str, int]


def read_groups(db: Cursor, file: ArrivedFile) -> list[Group]:
    """
    The stretches of a cycle table with the texts that occur in each.

    Raises
    ------
    UploadRefused
        TOO_MANY_STRETCHES, or TEXT_NOT_PRINTABLE with the column.
    """
    names = [file.stored(name) for name in STRETCH_COLUMNS]
    texts = [file.stored(name) if name in file.columns else "NULL" for name in TEXT_COLUMNS]
    counter, instant = file.stored("cycle_in_run"), file.stored("started_at")
    aggregates = (
        f"count(*), count_if({counter} = 0), "
        f"min({counter}), max({counter}), min({instant}), max({instant})"
    )
    rows = db.execute(
        f"SELECT {', '.join(names + texts)}, {aggregates} FROM {ROWS} AS r "
        f"GROUP BY ALL ORDER BY ALL LIMIT {MOST_GROUPS + 1}",
        file.parameters,
    ).fetchall()
    if len(rows) > MOST_GROUPS:
        raise UploadRefused(
            [
                ProblemError(
                    code="TOO_MANY_STRETCHES",
                    detail=f"The table holds more than {MOST_GROUPS} combinations of rig, run, "
                    "station, unit and texts; send it in several uploads.",
                )
            ]
        )
    groups = [_group(row) for row in rows]
    refuse_unprintable(file, _cells(groups))
    return groups


def stretch_keys(db: Cursor, groups: Sequence[Group], at: datetime) -> list[ArrivedStretch]:
    """Keys of a file's stretches; lots, units and stretches never seen before are added."""
    merged = merge_groups(groups)
    units = unit_keys(db, {(name[3], name[4]) for name in merged}, at)
    known = {
        (str(rig), str(run), int(station), int(unit)): int(key)
        for rig, run, station, unit, key in db.execute(
            _KNOWN_STRETCHES, {"unit_keys": [unit for _, unit in units.values()]}
        ).fetchall()
    }
    next_key = _first_free(db, _LAST_STRETCH)
    stretches = []
    for name, group in merged.items():
        lot_key, unit_key = units[name[3], name[4]]
        key = known.get((name[0], name[1], name[2], unit_key))
        stretches.append(
            ArrivedStretch(
                stretch_key=next_key if key is None else key,
                unit_key=unit_key,
                lot_key=lot_key,
                name=name,
                is_new=key is None,
                row_count=group.row_count,
                zero_count=group.zero_count,
                first_cycle_in_run=group.first_cycle_in_run,
                last_cycle_in_run=group.last_cycle_in_run,
                first_started_at=group.first_started_at,
                last_started_at=group.last_started_at,
            )
        )
        next_key += key is None
    _add_stretches(db, [stretch for stretch in stretches if stretch.is_new])
    return stretches


def unit_keys(
    db: Cursor, names: Iterable[tuple[str, str]], at: datetime
) -> dict[tuple[str, str], tuple[int, int]]:
    """
    Keys of lot and unit by lot number and serial; those never seen before are added.

    They are added in the order of their names, so that the same uploads give
    the same keys.
    """
    serials: dict[str, list[str]] = {}
    for lot_number, unit_serial in sorted(names):
        serials.setdefault(lot_number, []).append(unit_serial)
    keys = {}
    for lot_number, of_lot in serials.items():
        known = lot_key_of_number(db, lot_number)
        lot_key = add_lot(db, lot_number, at) if known is None else known
        for serial, unit_key in ensure_units(db, lot_key, of_lot).items():
            keys[lot_number, serial] = (lot_key, unit_key)
    return keys


def text_keys(db: Cursor, groups: Iterable[Group]) -> dict[str, int]:
    """Key of every text that occurs in a file; those never seen before are added."""
    texts = sorted({text for group in groups for text in group.texts if text is not None})
    if not texts:
        return {}
    known: Mapping[str, int] = dict(db.execute(_KNOWN_TEXTS, {"texts": texts}).fetchall())
    new = [text for text in texts if text not in known]
    if not new:
        return dict(known)
    first_key = _first_free(db, _LAST_TEXT)
    keys = list(range(first_key, first_key + len(new)))
    db.execute(_ADD_TEXTS, {"keys": keys, "texts": new})
    return {**known, **dict(zip(new, keys, strict=True))}


def _group(row: tuple[Any, ...]) -> Group:
    rig_id, run_id, station_no, lot_number, unit_serial = row[:5]
    texts = row[5:9]
    return Group(rig_id, run_id, station_no, lot_number, unit_serial, texts, *row[9:])


def merge_groups(groups: Sequence[Group]) -> dict[StretchName, Group]:
    """One entry per stretch: its groups differ in their texts only."""
    merged: dict[StretchName, Group] = {}
    for group in groups:
        other = merged.get(group.stretch)
        merged[group.stretch] = group if other is None else _joined(other, group)
    return merged


def _joined(one: Group, other: Group) -> Group:
    return Group(
        *one.stretch,
        one.texts,
        one.row_count + other.row_count,
        one.zero_count + other.zero_count,
        min(one.first_cycle_in_run, other.first_cycle_in_run),
        max(one.last_cycle_in_run, other.last_cycle_in_run),
        min(one.first_started_at, other.first_started_at),
        max(one.last_started_at, other.last_started_at),
    )


def _add_stretches(db: Cursor, new: Sequence[ArrivedStretch]) -> None:
    if not new:
        return
    values = {
        "keys": [stretch.stretch_key for stretch in new],
        "rig_ids": [stretch.name[0] for stretch in new],
        "run_ids": [stretch.name[1] for stretch in new],
        "station_nos": [stretch.name[2] for stretch in new],
        "unit_keys": [stretch.unit_key for stretch in new],
    }
    db.execute(_ADD_STRETCHES, values)


def _first_free(db: Cursor, last: str) -> int:
    row = db.execute(last).fetchone()
    assert row is not None  # an aggregate without groups always gives a row
    return int(row[0]) + 1


def refuse_unprintable(file: ArrivedFile, cells: Iterable[tuple[str, str | None]]) -> None:
    """
    Refuse control characters: names and codes go into answers, pages and file names.

    Parameters
    ----------
    file : ArrivedFile
    cells : iterable of (str, str or None)
        Name of a text column and a text of it.

    Raises
    ------
    UploadRefused
        TEXT_NOT_PRINTABLE for each column concerned.
    """
    bad = {name for name, cell in cells if cell is not None and _UNPRINTABLE.search(cell)}
    if bad:
        raise UploadRefused(
            [
                ProblemError(
                    code="TEXT_NOT_PRINTABLE",
                    column=file.columns[name].source_name,
                    detail=f"{name} holds control characters; take them out.",
                )
                for name in sorted(bad)
            ]
        )


def _cells(groups: Iterable[Group]) -> Iterator[tuple[str, str | None]]:
    """Every text of the groups with the name of its column."""
    for group in groups:
        for name, cell in zip(STRETCH_COLUMNS, group.stretch, strict=True):
            yield name, str(cell)
        yield from zip(TEXT_COLUMNS, group.texts, strict=True)
