"""The values of an uploaded table: one scan that finds faults, a second only to name rows."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from msgspec import Struct

from schemas.problems import ProblemError
from schemas.profiles import ColumnProfile
from schemas.quantities import MOST_CYCLES
from service.errors import UploadRefused
from service.storage.arrivals_file import ROWS, ArrivedFile
from service.storage.store import Cursor

EARLIEST = "1970-01-01"
LATEST = "2200-01-01"
_BYTES_PER_CHARACTER = 4

_RANGES: dict[str, tuple[int, int, str]] = {
    "cycle_in_run": (0, MOST_CYCLES, "COUNTER_OUT_OF_RANGE"),
    "station_no": (0, 10_000, "NUMBER_OUT_OF_RANGE"),
    "station_cycle_total": (0, MOST_CYCLES, "NUMBER_OUT_OF_RANGE"),
    "logged_every": (1, 1_000_000, "NUMBER_OUT_OF_RANGE"),
    "cycles": (0, MOST_CYCLES, "COUNTER_OUT_OF_RANGE"),
    "cycles_low": (0, MOST_CYCLES, "COUNTER_OUT_OF_RANGE"),
    "cycles_high": (1, MOST_CYCLES, "COUNTER_OUT_OF_RANGE"),
}
"""Smallest and largest value of each integer column, and the code of a value outside."""
MAY_BE_EMPTY = frozenset({"cycles"})
"""Needed columns in which a cell may be empty; a rule of its own says where."""


class _Fault(Struct, frozen=True):
    """A fault that the scan saw: its code, the rows that have it, what to say."""

    code: str
    condition: str
    said: str


def check_values(db: Cursor, file: ArrivedFile) -> frozenset[str]:
    """
    Refuse a table with values that cannot be stored.

    Parameters
    ----------
    db : Cursor
    file : ArrivedFile

    Returns
    -------
    frozenset of str
        Number and pressure columns in which every cell holds a finite number,
        so that none has to be looked at again.

    Raises
    ------
    UploadRefused
        With every one of NULL_NOT_ALLOWED, NOT_A_NUMBER, COUNTER_OUT_OF_RANGE,
        NUMBER_OUT_OF_RANGE, TIMESTAMP_OUT_OF_RANGE, TEXT_EMPTY and
        STRING_TOO_LONG that applies, each with its column and up to ten rows.
    """
    findings = _check_lengths(db, file)
    seen = _scan(db, file)
    for column in file.profile.columns:
        for fault in _faults(column, seen):
            findings += _named(column, fault, file.find_rows(db, fault.condition))
    if findings:
        raise UploadRefused(findings)
    return frozenset(
        column.name
        for column in file.profile.columns
        if column.kind in ("NUMBER", "PRESSURE")
        and seen[f"{column.name}_finite"] == seen["row_count"]
    )


def _check_lengths(db: Cursor, file: ArrivedFile) -> list[ProblemError]:
    """
    Texts that are empty or longer than allowed.

    Lengths are asked for first and on their own. A text so long that its
    bytes alone say so is refused at once: a megabyte that stands in a million
    cells must be read by nothing else.
    """
    texts = [column for column in file.profile.columns if column.kind == "TEXT"]
    lengths = ", ".join(
        f"min(strlen(r.{column.source_name})), max(strlen(r.{column.source_name}))"
        for column in texts
    )
    row = db.execute(f"SELECT {lengths} FROM {ROWS} AS r", file.text_parameters).fetchone()
    assert row is not None  # an aggregate without groups always gives a row
    longest = file.max_string_length
    findings: list[ProblemError] = []
    maybe: list[tuple[ColumnProfile, _Fault]] = []
    for index, column in enumerate(texts):
        name, source = f"r.{column.source_name}", column.source_name
        shortest_bytes, longest_bytes = row[2 * index], row[2 * index + 1] or 0
        said = f"{source} holds texts longer than {longest} characters; shorten them."
        if longest_bytes > _BYTES_PER_CHARACTER * longest:
            condition = f"strlen({name}) > {_BYTES_PER_CHARACTER * longest}"
            fault = _Fault("STRING_TOO_LONG", condition, said)
            findings += _named(column, fault, file.find_rows(db, condition, by_length=True))
        elif longest_bytes > longest:
            maybe.append((column, _Fault("STRING_TOO_LONG", f"length({name}) > {longest}", said)))
        if column.needed and shortest_bytes == 0:
            said = f"{source} is an empty text in some rows; fill it in."
            maybe.append((column, _Fault("TEXT_EMPTY", f"strlen({name}) = 0", said)))
    if findings:
        raise UploadRefused(findings)
    for column, fault in maybe:
        findings += _named(column, fault, file.find_rows(db, fault.condition, by_length=True))
    return findings


def _named(
    column: ColumnProfile, fault: _Fault, found: tuple[int, list[int]]
) -> list[ProblemError]:
    """A fault with its rows; nothing if it has none: bytes may be more than characters."""
    row_count, rows = found
    if row_count == 0:
        return []
    return [
        ProblemError(
            code=fault.code,
            column=column.source_name,
            detail=fault.said,
            rows=rows,
            row_count=row_count,
        )
    ]


def _scan(db: Cursor, file: ArrivedFile) -> dict[str, Any]:
    """What one pass over all columns says, by name."""
    wanted = {"row_count": "count(*)"}
    for column in file.profile.columns:
        name = f"r.{column.source_name}"
        wanted[f"{column.name}_given"] = f"count({name})"
        if column.kind == "INTEGER":
            wanted[f"{column.name}_least"] = f"min({name})"
            wanted[f"{column.name}_most"] = f"max({name})"
        elif column.kind == "INSTANT":
            wanted[f"{column.name}_outside"] = f"count_if({_outside(name)})"
        elif column.kind != "TEXT":
            wanted[f"{column.name}_finite"] = f"count_if(isfinite({name}::DOUBLE))"
    expressions = ", ".join(f"{sql} AS {name}" for name, sql in wanted.items())
    row = db.execute(f"SELECT {expressions} FROM {ROWS} AS r", file.parameters).fetchone()
    assert row is not None  # an aggregate without groups always gives a row
    return dict(zip(wanted, row, strict=True))


def _faults(column: ColumnProfile, seen: dict[str, Any]) -> list[_Fault]:
    """Faults of one column, as conditions on its rows."""
    name, source = f"r.{column.source_name}", column.source_name
    faults = []
    must_be_given = column.needed and column.name not in MAY_BE_EMPTY
    if must_be_given and seen[f"{column.name}_given"] < seen["row_count"]:
        said = (
            f"{source} is empty in some rows; it is needed in every one. Fill it in or leave "
            "those rows out."
        )
        faults.append(_Fault("NULL_NOT_ALLOWED", f"{name} IS NULL", said))
    check = _KIND_FAULTS.get(column.kind)
    return faults + (check(column, seen) if check else [])


def _integer_faults(column: ColumnProfile, seen: dict[str, Any]) -> list[_Fault]:
    least, most, code = _RANGES[column.name]
    name, source = f"r.{column.source_name}", column.source_name
    if seen[f"{column.name}_given"] == 0:
        return []
    if least <= seen[f"{column.name}_least"] and seen[f"{column.name}_most"] <= most:
        return []
    said = f"{source} must lie between {least} and {most}; correct the rows or leave them out."
    return [_Fault(code, f"({name} < {least} OR {name} > {most})", said)]


def _instant_faults(column: ColumnProfile, seen: dict[str, Any]) -> list[_Fault]:
    name, source = f"r.{column.source_name}", column.source_name
    if seen[f"{column.name}_outside"] == 0:
        return []
    said = (
        f"{source} must lie between {EARLIEST} and {LATEST}; correct the rig's clock or the "
        "unit of time."
    )
    return [_Fault("TIMESTAMP_OUT_OF_RANGE", _outside(name), said)]


def _number_faults(column: ColumnProfile, seen: dict[str, Any]) -> list[_Fault]:
    name, source = f"r.{column.source_name}", column.source_name
    if not column.needed or seen[f"{column.name}_finite"] == seen[f"{column.name}_given"]:
        return []
    said = (
        f"{source} is not a finite number in some rows; it is needed in every one. Leave those "
        "rows out."
    )
    return [_Fault("NOT_A_NUMBER", f"NOT isfinite({name}::DOUBLE)", said)]


_KIND_FAULTS: dict[str, Callable[[ColumnProfile, dict[str, Any]], list[_Fault]]] = {
    "INTEGER": _integer_faults,
    "INSTANT": _instant_faults,
    "NUMBER": _number_faults,
    "PRESSURE": _number_faults,
}


def _outside(name: str) -> str:
    """Condition on an instant that no rig can have recorded."""
    instant = f"{name}::TIMESTAMPTZ"
    return (
        f"({instant} < TIMESTAMPTZ '{EARLIEST} 00:00:00+00' "
        f"OR {instant} >= TIMESTAMPTZ '{LATEST} 00:00:00+00')"
    )
