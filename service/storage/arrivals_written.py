"""Rows stored under the units that corrections say, a stretch of a file at a time.

Used where a correction speaks of rows of a file, and where stored rows are taken anew. Such
rows are told apart one by one, like rows that were received before.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from datetime import datetime
from typing import Any

from msgspec import Struct

from schemas.corrections import NewCorrection
from service.storage.arrivals_keys import (
    ArrivedStretch,
    Group,
    KeyedFile,
    merge_groups,
    unit_keys,
)
from service.storage.arrivals_repeats import (
    Tally,
    collect_versions,
    forget_versions,
    portions,
    store_versions,
)
from service.storage.store import Cursor
from service.storage.written_units import Redirection, StretchName, redirections_of

Place = tuple[str, str, int]
"""Rig, run and station: corrections change what ran there, never where."""

_KNOWN = """
SELECT b.rig_id, b.run_id, b.station_no, b.unit_key, b.stretch_key
FROM stretch_bases AS b
WHERE b.run_id IN (SELECT unnest($run_ids::VARCHAR[]))
"""
_LAST = "SELECT coalesce(max(stretch_key), 0) FROM taken_stretches"
_ADD = """
INSERT INTO taken_stretches (stretch_key, rig_id, run_id, station_no, unit_key)
SELECT unnest($keys), unnest($rig_ids), unnest($run_ids), unnest($station_nos), unnest($unit_keys)
"""
_REDIRECTIONS = """
CREATE OR REPLACE TEMP TABLE redirections AS
SELECT unnest($written::INTEGER[]) AS written_key, unnest($ranks::INTEGER[]) AS rank,
    unnest($keys::INTEGER[]) AS stretch_key, unnest($froms::TIMESTAMP[]) AS started_from,
    unnest($befores::TIMESTAMP[]) AS started_before, unnest($firsts::BIGINT[]) AS first_cycle,
    unnest($lasts::BIGINT[]) AS last_cycle
"""
_REDIRECT = """
CREATE OR REPLACE TEMP TABLE row_versions AS
WITH chosen AS (
    SELECT v.row_no, arg_max(d.stretch_key, d.rank) AS chosen_key
    FROM row_versions AS v
    JOIN redirections AS d ON d.written_key = v.stretch_key
        AND v.started_at >= d.started_from AND v.started_at < d.started_before
        AND v.cycle_in_run >= d.first_cycle AND v.cycle_in_run <= d.last_cycle
    GROUP BY v.row_no
)
SELECT v.* REPLACE (coalesce(c.chosen_key, v.stretch_key) AS stretch_key)
FROM row_versions AS v
LEFT JOIN chosen AS c ON c.row_no = v.row_no
"""
_RANGES = """
SELECT stretch_key, min(cycle_in_run), max(cycle_in_run), min(started_at), max(started_at)
FROM row_versions
GROUP BY stretch_key
ORDER BY stretch_key
"""
_ADD_TALLIES = """
INSERT INTO taken_tallies (
    upload_key, stretch_key, stored_rows, duplicate_rows, conflicting_rows,
    first_cycle_in_run, last_cycle_in_run, first_started_at, last_started_at
)
SELECT
    $upload_key, unnest($keys), unnest($stored), unnest($duplicate), unnest($conflicting),
    unnest($first_cycles), unnest($last_cycles), unnest($first_starts), unnest($last_starts)
"""


class StretchKeys:
    """
    Keys of stretches by place and unit.

    A stretch that has none gets the next free one; `add_used` stores those that got rows.

    Parameters
    ----------
    db : Cursor
    at : datetime
        When lots are seen that nobody named yet.
    known_runs : collection of str, optional
        Runs whose standing stretches keep their keys; without any all are new.
    """

    def __init__(self, db: Cursor, at: datetime, known_runs: Collection[str] = ()) -> None:
        self._db = db
        self._at = at
        self._units: dict[tuple[str, str], tuple[int, int]] = {}
        self._of_key: dict[int, tuple[int, int]] = {}
        self._new: dict[int, tuple[Place, int]] = {}
        rows = db.execute(_KNOWN, {"run_ids": [*known_runs]}).fetchall() if known_runs else []
        self._keys = {((str(r), str(n), int(s)), int(u)): int(key) for r, n, s, u, key in rows}
        row = db.execute(_LAST).fetchone()
        assert row is not None  # an aggregate without groups always gives a row
        self._next = int(row[0]) + 1

    def key(self, place: Place, lot_number: str, unit_serial: str) -> int:
        """Key of the stretch of a unit at a place."""
        name = (lot_number, unit_serial)
        if name not in self._units:
            self._units |= unit_keys(self._db, [name], self._at)
        lot_key, unit_key = self._units[name]
        key = self._keys.get((place, unit_key))
        if key is None:
            key, self._next = self._next, self._next + 1
            self._keys[place, unit_key] = key
            self._new[key] = (place, unit_key)
        self._of_key[key] = (lot_key, unit_key)
        return key

    def lot_and_unit(self, key: int) -> tuple[int, int]:
        """Lot and unit of a key that `key` gave."""
        return self._of_key[key]

    def add_used(self, used: Collection[int]) -> None:
        """Store the new stretches among `used`."""
        new = sorted(key for key in used if key in self._new)
        if not new:
            return
        places = [self._new[key] for key in new]
        values = {
            "keys": new,
            "rig_ids": [place[0] for place, _ in places],
            "run_ids": [place[1] for place, _ in places],
            "station_nos": [place[2] for place, _ in places],
            "unit_keys": [unit_key for _, unit_key in places],
        }
        self._db.execute(_ADD, values)
        for key in new:
            del self._new[key]


class WrittenStretch(Struct, frozen=True, kw_only=True):
    """A stretch of a file, and what corrections say of its rows (nothing: they stay)."""

    group: Group
    redirections: list[Redirection]

    @property
    def place(self) -> Place:
        """Where it ran."""
        return self.group.stretch[:3]


class _Ranged(Struct, frozen=True):
    """A tally with the ranges of its rows."""

    tally: Tally
    first_cycle: int
    last_cycle: int
    first_start: datetime
    last_start: datetime

    def with_more(self, more: _Ranged) -> _Ranged:
        """The tally of two portions together."""
        one, other = self.tally, more.tally
        return _Ranged(
            Tally(
                one.stored_rows + other.stored_rows,
                one.duplicate_rows + other.duplicate_rows,
                one.conflicting_rows + other.conflicting_rows,
            ),
            min(self.first_cycle, more.first_cycle),
            max(self.last_cycle, more.last_cycle),
            min(self.first_start, more.first_start),
            max(self.last_start, more.last_start),
        )


def written_stretches(
    groups: Sequence[Group], corrections: Sequence[NewCorrection], upload_id: str
) -> list[WrittenStretch]:
    """The stretches of a file in the order of their names, with what corrections say of each."""
    return [
        WrittenStretch(group=group, redirections=redirections_of(corrections, name, upload_id))
        for name, group in sorted(merge_groups(groups).items())
    ]


def store_written(
    db: Cursor,
    keyed: KeyedFile,
    wanted: Sequence[WrittenStretch],
    upload_key: int,
    keys: StretchKeys,
) -> dict[int, Tally]:
    """
    Store rows of some stretches of a file under the units that they belong to.

    Parameters
    ----------
    db : Cursor
        Inside the write transaction.
    keyed : KeyedFile
        Its `stretches` are not used.
    wanted : sequence of WrittenStretch
        With every other stretch of the file at the same places.
    upload_key : int
    keys : StretchKeys

    Returns
    -------
    dict of int to Tally
        By stretch key; the tallies are stored too.
    """
    stretches = _keyed_stretches(wanted, keys)
    redirected = {
        stretch.stretch_key: each.redirections
        for stretch, each in zip(stretches, wanted, strict=True)
        if each.redirections
    }
    found: dict[int, _Ranged] = {}
    for part in portions(stretches):
        collect_versions(db, keyed, part)
        _redirect(db, [each for each in part if each.stretch_key in redirected], redirected, keys)
        ranges = {int(row[0]): row[1:] for row in db.execute(_RANGES).fetchall()}
        for key, tally in store_versions(db, [*ranges], upload_key).items():
            ranged = _Ranged(tally, *ranges[key])
            found[key] = found[key].with_more(ranged) if key in found else ranged
    forget_versions(db)
    keys.add_used(found.keys())
    _add_tallies(db, found, upload_key)
    return {key: ranged.tally for key, ranged in found.items()}


def _keyed_stretches(wanted: Iterable[WrittenStretch], keys: StretchKeys) -> list[ArrivedStretch]:
    """Each stretch under its key; a redirected one under a number below 0 that stands for it."""
    stretches = []
    for number, each in enumerate(wanted, start=1):
        group = each.group
        name: StretchName = group.stretch
        key = -number if each.redirections else keys.key(each.place, *name[3:])
        lot_key, unit_key = (0, 0) if key < 0 else keys.lot_and_unit(key)
        stretches.append(
            ArrivedStretch(
                stretch_key=key,
                unit_key=unit_key,
                lot_key=lot_key,
                name=name,
                is_new=False,
                row_count=group.row_count,
                zero_count=group.zero_count,
                first_cycle_in_run=group.first_cycle_in_run,
                last_cycle_in_run=group.last_cycle_in_run,
                first_started_at=group.first_started_at,
                last_started_at=group.last_started_at,
            )
        )
    return stretches


def _redirect(
    db: Cursor,
    stretches: Sequence[ArrivedStretch],
    redirected: dict[int, list[Redirection]],
    keys: StretchKeys,
) -> None:
    """Give collected rows the keys of the stretches that they belong to."""
    if not stretches:
        return
    rows: list[tuple[Any, ...]] = [
        (
            stretch.stretch_key,
            rank,
            keys.key(stretch.name[:3], each.lot_number, each.unit_serial),
            each.started_from,
            each.started_before,
            each.first_cycle,
            each.last_cycle,
        )
        for stretch in stretches
        for rank, each in enumerate(redirected[stretch.stretch_key])
    ]
    names = ("written", "ranks", "keys", "froms", "befores", "firsts", "lasts")
    columns = {name: [row[n] for row in rows] for n, name in enumerate(names)}
    db.execute(_REDIRECTIONS, columns)
    db.execute(_REDIRECT)
    db.execute("DROP TABLE temp.redirections")


def _add_tallies(db: Cursor, found: dict[int, _Ranged], upload_key: int) -> None:
    if not found:
        return
    of_keys = list(found.values())
    values = {
        "upload_key": upload_key,
        "keys": list(found),
        "stored": [each.tally.stored_rows for each in of_keys],
        "duplicate": [each.tally.duplicate_rows for each in of_keys],
        "conflicting": [each.tally.conflicting_rows for each in of_keys],
        "first_cycles": [each.first_cycle for each in of_keys],
        "last_cycles": [each.last_cycle for each in of_keys],
        "first_starts": [each.first_start for each in of_keys],
        "last_starts": [each.last_start for each in of_keys],
    }
    db.execute(_ADD_TALLIES, values)
