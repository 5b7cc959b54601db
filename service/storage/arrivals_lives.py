"""The rows of an uploaded lives table: checked, given their keys, stored."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence

from msgspec import Struct

from schemas.corrections import NewCorrection
from schemas.lives import ENDINGS
from schemas.problems import MAX_ROWS_NAMED, ProblemError
from service.errors import UploadRefused
from service.storage.arrivals_checks import check_values
from service.storage.arrivals_cycles import ArrivedRows
from service.storage.arrivals_file import (
    NUMBERED_ROWS,
    Arrival,
    ArrivedFile,
    opened,
    reading,
)
from service.storage.arrivals_keys import refuse_unprintable, unit_keys
from service.storage.arrivals_repeats import Tally
from service.storage.corrections import corrections_about
from service.storage.identifiers import upload_id_of
from service.storage.store import Cursor
from service.storage.written_units import unit_of_life

MOST_LIVES = 100_000
UPLOADED_ENDINGS = tuple(ending for ending in ENDINGS if ending != "RUNNING")
"""A unit that still runs has no life to upload."""

_COLUMNS = (
    "lot_number",
    "unit_serial",
    "ending",
    "cycles",
    "cycles_low",
    "cycles_high",
    "failure_mode",
    "component_batch",
)
_KNOWN = """
SELECT unit_key, ending, cycles, cycles_low, cycles_high, failure_mode, component_batch
FROM uploaded_lives
WHERE unit_key IN (SELECT unnest($unit_keys::INTEGER[]))
"""
_ADD = """
INSERT INTO taken_lives (
    upload_key, take_no, unit_key, ending, cycles, cycles_low, cycles_high, failure_mode,
    component_batch
)
SELECT
    $upload_key, $take_no, unnest($unit_keys::INTEGER[]), unnest($endings::VARCHAR[]),
    unnest($cycles::BIGINT[]), unnest($lows::BIGINT[]), unnest($highs::BIGINT[]),
    unnest($modes::VARCHAR[]), unnest($batches::VARCHAR[])
"""


class Life(Struct, frozen=True):
    """What one row says about a unit's life; compared as a whole."""

    ending: str
    cycles: int | None
    cycles_low: int | None
    cycles_high: int | None
    failure_mode: str | None
    component_batch: str | None


class _Row(Struct, frozen=True):
    number: int
    lot_number: str
    unit_serial: str
    life: Life


def store_lives(db: Cursor, arrival: Arrival, upload_key: int) -> ArrivedRows:
    """
    Store the rows of a lives table.

    A unit whose life is already there is a duplicate if it is equal to any
    earlier one, else it is counted as conflicting and kept beside it.

    Parameters
    ----------
    db : Cursor
        Inside the write transaction.
    arrival : Arrival
    upload_key : int

    Raises
    ------
    UploadRefused
        If a value cannot be stored or contradicts another, or a unit stands
        in the table twice.
    """
    _refuse_many(arrival)
    rows = _read_checked(db, arrival)
    corrections = corrections_about(db, {row.lot_number for row in rows})
    named = _named_units(rows, corrections, arrival)
    keys = unit_keys(db, set(named), arrival.received_at)
    known = _known_lives(db, [unit_key for _, unit_key in keys.values()])
    stored = [(*keys[name], row.life) for name, row in zip(named, rows, strict=True)]
    return ArrivedRows(tallies=_store(db, stored, known, (upload_key, 0)), stretch_keys=[])


class LivesTaken(Struct, frozen=True, kw_only=True):
    """What lives that are taken anew are taken under, and those taken already by unit."""

    take_no: int
    corrections: list[NewCorrection]
    lot_numbers: Collection[str]
    known: dict[int, set[Life]] = {}


def take_lives(db: Cursor, arrival: Arrival, upload_key: int, taken: LivesTaken) -> None:
    """
    Store the lives of a kept original again, those of some lots, where corrections put them.

    Parameters
    ----------
    db : Cursor
        Inside the write transaction.
    arrival : Arrival
        The original; it was accepted once and is not checked again.
    upload_key : int
    taken : LivesTaken
        The same for all originals, which come in the order of their arrival.
    """
    with opened(db, arrival) as file, reading(db, arrival):
        rows = [row for row in _read(db, file) if row.lot_number in taken.lot_numbers]
    named = _named_units(rows, taken.corrections, arrival)
    keys = unit_keys(db, set(named), arrival.received_at)
    stored = [(*keys[name], row.life) for name, row in zip(named, rows, strict=True)]
    _store(db, stored, taken.known, (upload_key, taken.take_no))


def _read_checked(db: Cursor, arrival: Arrival) -> list[_Row]:
    """Rows of a table that was never taken before."""
    with opened(db, arrival) as file, reading(db, arrival):
        check_values(db, file)
        rows = _read(db, file)
        refuse_unprintable(file, _texts(rows))
    _check_rows(rows)
    return rows


def _named_units(
    rows: Sequence[_Row], corrections: Sequence[NewCorrection], arrival: Arrival
) -> list[tuple[str, str]]:
    """Lot and serial that each row belongs to."""
    upload_id = upload_id_of(arrival.sha256)
    return [unit_of_life(corrections, row.lot_number, row.unit_serial, upload_id) for row in rows]


def _known_lives(db: Cursor, unit_keys_asked: Sequence[int]) -> dict[int, set[Life]]:
    known: dict[int, set[Life]] = {}
    for unit_key, *life in db.execute(_KNOWN, {"unit_keys": [*unit_keys_asked]}).fetchall():
        known.setdefault(int(unit_key), set()).add(Life(*life))
    return known


def _store(
    db: Cursor,
    lives: Sequence[tuple[int, int, Life]],
    known: dict[int, set[Life]],
    take: tuple[int, int],
) -> list[tuple[int, int, Tally]]:
    """Store lives by lot and unit that are not among `known`, which grows; the tally of each."""
    new: list[tuple[int, Life]] = []
    tallies: list[tuple[int, int, Tally]] = []
    for lot_key, unit_key, life in lives:
        tally = _tally(life, known.setdefault(unit_key, set()))
        tallies.append((lot_key, unit_key, tally))
        if not tally.duplicate_rows:
            new.append((unit_key, life))
            known[unit_key].add(life)
    _add(db, new, take)
    return tallies


def _tally(life: Life, known: set[Life]) -> Tally:
    if not known:
        return Tally(1)
    return Tally(0, duplicate_rows=1) if life in known else Tally(0, conflicting_rows=1)


def _read(db: Cursor, file: ArrivedFile) -> list[_Row]:
    wanted = ", ".join(file.stored(name) if name in file.columns else "NULL" for name in _COLUMNS)
    rows = db.execute(
        f"SELECT r.file_row_number + 1, {wanted} FROM {NUMBERED_ROWS} AS r ORDER BY 1",
        file.parameters,
    ).fetchall()
    return [_Row(int(row[0]), row[1], row[2], Life(*row[3:])) for row in rows]


def _texts(rows: Iterable[_Row]) -> Iterator[tuple[str, str | None]]:
    for row in rows:
        yield "lot_number", row.lot_number
        yield "unit_serial", row.unit_serial
        yield "failure_mode", row.life.failure_mode
        yield "component_batch", row.life.component_batch


def _check_rows(rows: Sequence[_Row]) -> None:
    """Refuse lives that say two things at once."""
    findings = [
        ProblemError(
            code=code, column=column, detail=detail, rows=bad[:MAX_ROWS_NAMED], row_count=len(bad)
        )
        for code, column, detail, is_bad in _RULES
        if (bad := [row.number for row in rows if is_bad(row.life)])
    ]
    repeated = _repeated_units(rows)
    if repeated:
        findings.append(
            ProblemError(
                code="UNIT_REPEATED",
                column="unit_serial",
                detail="A unit stands in the table more than once; a lives table has one row "
                "per unit. Keep the row that is right.",
                rows=repeated[:MAX_ROWS_NAMED],
                row_count=len(repeated),
            )
        )
    if findings:
        raise UploadRefused(findings)


def _repeated_units(rows: Iterable[_Row]) -> list[int]:
    """Numbers of rows whose unit stands further up."""
    seen: set[tuple[str, str]] = set()
    repeated = []
    for row in rows:
        name = (row.lot_number, row.unit_serial)
        if name in seen:
            repeated.append(row.number)
        seen.add(name)
    return repeated


def _has_bracket(life: Life) -> bool:
    return (
        life.cycles_low is not None
        and life.cycles_high is not None
        and life.cycles_low < life.cycles_high
    )


_RULES: tuple[tuple[str, str, str, Callable[[Life], bool]], ...] = (
    (
        "VALUE_NOT_ALLOWED",
        "ending",
        f"ending must be one of {', '.join(UPLOADED_ENDINGS)}.",
        lambda life: life.ending not in UPLOADED_ENDINGS,
    ),
    (
        "LIFE_CONTRADICTORY",
        "cycles",
        "cycles must be empty where ending is FAILED_BETWEEN, and given everywhere else.",
        lambda life: (life.cycles is None) != (life.ending == "FAILED_BETWEEN"),
    ),
    (
        "LIFE_CONTRADICTORY",
        "cycles_low",
        "A life that is FAILED_BETWEEN needs cycles_low and, greater than it, cycles_high.",
        lambda life: life.ending == "FAILED_BETWEEN" and not _has_bracket(life),
    ),
    (
        "LIFE_CONTRADICTORY",
        "cycles_low",
        "cycles_low and cycles_high are given only where ending is FAILED_BETWEEN; leave "
        "them empty elsewhere.",
        lambda life: (
            life.ending != "FAILED_BETWEEN"
            and (life.cycles_low is not None or life.cycles_high is not None)
        ),
    ),
)


def _refuse_many(arrival: Arrival) -> None:
    if arrival.profile.row_count > MOST_LIVES:
        raise UploadRefused(
            [
                ProblemError(
                    code="TOO_MANY_ROWS",
                    detail=f"A lives table has at most {MOST_LIVES} rows; send it in several "
                    "uploads.",
                )
            ]
        )


def _add(db: Cursor, new: Sequence[tuple[int, Life]], take: tuple[int, int]) -> None:
    """Store lives under their upload and the number of their take."""
    if not new:
        return
    values = {
        "upload_key": take[0],
        "take_no": take[1],
        "unit_keys": [unit_key for unit_key, _ in new],
        "endings": [life.ending for _, life in new],
        "cycles": [life.cycles for _, life in new],
        "lows": [life.cycles_low for _, life in new],
        "highs": [life.cycles_high for _, life in new],
        "modes": [life.failure_mode for _, life in new],
        "batches": [life.component_batch for _, life in new],
    }
    db.execute(_ADD, values)
