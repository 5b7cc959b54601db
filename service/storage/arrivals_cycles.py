"""The rows of an uploaded cycle table: checked, given their keys, stored."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from msgspec import Struct

from schemas.problems import ProblemError
from service.errors import UploadRefused
from service.storage.arrivals_checks import check_values
from service.storage.arrivals_file import ROWS, Arrival, opened, reading
from service.storage.arrivals_keys import (
    ArrivedStretch,
    Group,
    KeyedFile,
    read_groups,
    stretch_keys,
    text_keys,
)
from service.storage.arrivals_order import check_zeros
from service.storage.arrivals_repeats import Tally, store_repeated
from service.storage.arrivals_routes import make_routes
from service.storage.arrivals_rows import ROW_COLUMNS, row_expressions
from service.storage.arrivals_units import check_units
from service.storage.arrivals_written import (
    StretchKeys,
    WrittenStretch,
    store_written,
    written_stretches,
)
from service.storage.corrections import corrections_about
from service.storage.identifiers import upload_id_of
from service.storage.store import Cursor

_MOST_READINGS = 4
"""Up to so many lots, reading the file once for each is cheaper than sorting its rows."""

_RANGES_BEFORE = """
SELECT
    stretch_key,
    min(first_cycle_in_run),
    max(last_cycle_in_run),
    min(first_started_at),
    max(last_started_at)
FROM upload_stretches
WHERE stretch_key IN (SELECT unnest($stretch_keys::INTEGER[]))
GROUP BY stretch_key
"""
# 64 counts side by side are one word: as many rows as bits means that none came twice. A
# count that came again with another start is a reset and shows here too.
_REPEATED = """
SELECT DISTINCT stretch_key FROM (
    SELECT stretch_key
    FROM cycle_rows
    WHERE upload_key = $upload_key
    GROUP BY stretch_key, cycle_in_run >> 6
    HAVING count(*) <> bit_count(bit_or(1::UBIGINT << (cycle_in_run & 63)::UBIGINT))
)
"""
_TAKE_BACK = """
DELETE FROM cycle_rows
WHERE upload_key = $upload_key
    AND stretch_key IN (SELECT unnest($stretch_keys::INTEGER[]))
"""
_ADD_TALLIES = """
INSERT INTO taken_tallies (
    upload_key, stretch_key, stored_rows, duplicate_rows, conflicting_rows,
    first_cycle_in_run, last_cycle_in_run, first_started_at, last_started_at
)
SELECT
    $upload_key, unnest($stretch_keys), unnest($stored), unnest($duplicate), unnest($conflicting),
    unnest($first_cycles), unnest($last_cycles), unnest($first_starts), unnest($last_starts)
"""


class ArrivedRows(Struct, frozen=True, kw_only=True):
    """Tallies of an upload with the lot and unit of each, and the stretches that it touched."""

    tallies: list[tuple[int, int, Tally]]
    stretch_keys: list[int]


def store_rows(
    db: Cursor, arrival: Arrival, upload_key: int, set_pressures: Mapping[str, float]
) -> ArrivedRows:
    """
    Store the rows of a cycle table.

    Parameters
    ----------
    db : Cursor
        Inside the write transaction.
    arrival : Arrival
    upload_key : int
    set_pressures : mapping of str to float
        Set pressure of each lot's specification by lot number, MPa.

    Raises
    ------
    UploadRefused
        If a value cannot be stored or the file cannot be read to its end.
    """
    with opened(db, arrival) as file:
        with reading(db, arrival):
            finite = check_values(db, file)
            groups = read_groups(db, file)
            lots = sorted({group.lot_number for group in groups})
            check_units(db, file, lots, set_pressures)
        written = _corrected(db, groups, lots, upload_id_of(arrival.sha256))
        keyed = KeyedFile(
            file=file,
            finite=finite,
            groups=groups,
            stretches=stretch_keys(db, _uncorrected(groups, written), arrival.received_at),
            texts=text_keys(db, groups),
        )
        with reading(db, arrival):
            check_zeros(db, keyed)
            tallies = _store(db, keyed, upload_key)
            others = _store_corrected(db, keyed, written, arrival, upload_key)
    _add_tallies(db, keyed.stretches, tallies, upload_key)
    own = [(s.stretch_key, s.lot_key, s.unit_key, tallies[s.stretch_key]) for s in keyed.stretches]
    return ArrivedRows(
        tallies=[stored[1:] for stored in (*own, *others)],
        stretch_keys=[stored[0] for stored in (*own, *others)],
    )


def _uncorrected(groups: list[Group], written: Sequence[WrittenStretch]) -> list[Group]:
    """Groups at places where no correction speaks of any row: all of them, nearly always."""
    if not written:
        return groups
    spoken_of = {each.place for each in written}
    return [group for group in groups if group.stretch[:3] not in spoken_of]


def _corrected(
    db: Cursor, groups: Sequence[Group], lots: Sequence[str], upload_id: str
) -> list[WrittenStretch]:
    """Stretches at the places where a correction speaks of rows of the file."""
    corrections = corrections_about(db, lots)
    if not corrections:
        return []
    written = written_stretches(groups, corrections, upload_id)
    spoken_of = {each.place for each in written if each.redirections}
    return [each for each in written if each.place in spoken_of]


def _store_corrected(
    db: Cursor,
    keyed: KeyedFile,
    written: Sequence[WrittenStretch],
    arrival: Arrival,
    upload_key: int,
) -> list[tuple[int, int, int, Tally]]:
    """Store rows of which a correction speaks: key, lot and unit of each stretch, and its tally."""
    if not written:
        return []
    keys = StretchKeys(db, arrival.received_at, {each.place[1] for each in written})
    stored = store_written(db, keyed, written, upload_key, keys)
    return [(key, *keys.lot_and_unit(key), tally) for key, tally in stored.items()]


def _store(db: Cursor, keyed: KeyedFile, upload_key: int) -> dict[int, Tally]:
    """Rows of every stretch, the quick way where nothing can have been received before."""
    met_before = _maybe_received(db, keyed.stretches)
    quick = [stretch for stretch in keyed.stretches if stretch.stretch_key not in met_before]
    for part in _by_lot(quick):
        _insert(db, keyed, part, upload_key)
    repeated = _repeated_keys(db, upload_key)
    if repeated:
        db.execute(_TAKE_BACK, {"upload_key": upload_key, "stretch_keys": sorted(repeated)})
    tallies = {
        stretch.stretch_key: Tally(stretch.row_count)
        for stretch in quick
        if stretch.stretch_key not in repeated
    }
    slow = [stretch for stretch in keyed.stretches if stretch.stretch_key not in tallies]
    if slow:
        tallies |= store_repeated(db, keyed, slow, upload_key)
    return tallies


def _maybe_received(db: Cursor, stretches: Sequence[ArrivedStretch]) -> set[int]:
    """Stretches with rows in the store whose counters and instants both overlap the file's."""
    known = {stretch.stretch_key: stretch for stretch in stretches if not stretch.is_new}
    found = set()
    for key, first_cycle, last_cycle, first_start, last_start in db.execute(
        _RANGES_BEFORE, {"stretch_keys": list(known)}
    ).fetchall():
        stretch = known[key]
        if (
            stretch.first_cycle_in_run <= last_cycle
            and first_cycle <= stretch.last_cycle_in_run
            and stretch.first_started_at <= last_start
            and first_start <= stretch.last_started_at
        ):
            found.add(int(key))
    return found


def _by_lot(stretches: Sequence[ArrivedStretch]) -> list[list[ArrivedStretch]]:
    """Stretches of each lot, so that its rows lie together and a look at it reads no other."""
    lots: dict[int, list[ArrivedStretch]] = {}
    for stretch in sorted(stretches, key=lambda stretch: stretch.lot_key):
        lots.setdefault(stretch.lot_key, []).append(stretch)
    if len(lots) <= _MOST_READINGS:
        return list(lots.values())
    return [[stretch for of_lot in lots.values() for stretch in of_lot]]


def _insert(
    db: Cursor, keyed: KeyedFile, stretches: Sequence[ArrivedStretch], upload_key: int
) -> None:
    """All rows of some stretches as they come; sorted by lot if these are of several."""
    routes = make_routes(db, keyed, stretches)
    order = "ORDER BY s.lot_key" if len({stretch.lot_key for stretch in stretches}) > 1 else ""
    inserted = db.execute(
        f"INSERT INTO cycle_rows (upload_key, {', '.join(ROW_COLUMNS)}) "
        f"SELECT $upload_key::INTEGER, {', '.join(row_expressions(keyed, routes))} "
        f"FROM {ROWS} AS r {routes.joins} {order}",
        {**keyed.file.parameters, **routes.parameters, "upload_key": upload_key},
    ).fetchone()
    expected = sum(stretch.row_count for stretch in stretches)
    if inserted is None or int(inserted[0]) != expected:
        raise UploadRefused(
            [
                ProblemError(
                    code="PARQUET_DAMAGED",
                    detail="The file is damaged: reading it twice gives two different tables. "
                    "Write it again and send it with a Content-Digest header.",
                )
            ]
        )


def _repeated_keys(db: Cursor, upload_key: int) -> set[int]:
    """Stretches of this upload in which one count stands more than once."""
    rows = db.execute(_REPEATED, {"upload_key": upload_key}).fetchall()
    return {int(row[0]) for row in rows}


def _add_tallies(
    db: Cursor, stretches: Sequence[ArrivedStretch], tallies: Mapping[int, Tally], upload_key: int
) -> None:
    of_stretches = [tallies[stretch.stretch_key] for stretch in stretches]
    values = {
        "upload_key": upload_key,
        "stretch_keys": [stretch.stretch_key for stretch in stretches],
        "stored": [tally.stored_rows for tally in of_stretches],
        "duplicate": [tally.duplicate_rows for tally in of_stretches],
        "conflicting": [tally.conflicting_rows for tally in of_stretches],
        "first_cycles": [stretch.first_cycle_in_run for stretch in stretches],
        "last_cycles": [stretch.last_cycle_in_run for stretch in stretches],
        "first_starts": [stretch.first_started_at for stretch in stretches],
        "last_starts": [stretch.last_started_at for stretch in stretches],
    }
    db.execute(_ADD_TALLIES, values)
