"""Which columns an uploaded table has, and whether each is of the kind that it should be."""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Callable, Sequence

import pyarrow as pa
import pyarrow.types as arrow_types

from schemas.cycles import (
    CYCLE_COLUMNS,
    LIFE_COLUMNS,
    OPTIONAL_MASK,
    PRESSURE_UNITS,
    Column,
    ColumnKind,
)
from schemas.problems import ProblemError
from schemas.profiles import ColumnProfile, TableProfile
from schemas.uploads import TableKind
from service.errors import UploadRefused

IGNORED_PREFIX = "x_"
"""Columns that the sender wants to keep in the file but not in the table."""
MOST_DECIMAL_DIGITS = 38
"""More digits than this are not read exactly."""
_NEAREST = 0.5
_SHOWN_NAME_LENGTH = 80

_TESTS: dict[ColumnKind, tuple[Callable[[pa.DataType], bool], ...]] = {
    "TEXT": (arrow_types.is_string, arrow_types.is_large_string, arrow_types.is_string_view),
    "INTEGER": (arrow_types.is_integer,),
    "NUMBER": (arrow_types.is_integer, arrow_types.is_floating, arrow_types.is_decimal),
    "PRESSURE": (arrow_types.is_integer, arrow_types.is_floating, arrow_types.is_decimal),
    "INSTANT": (arrow_types.is_timestamp,),
}
_WANTED: dict[ColumnKind, str] = {
    "TEXT": "text (plain, large or dictionary strings)",
    "INTEGER": "an integer",
    "NUMBER": f"a float, or a decimal of at most {MOST_DECIMAL_DIGITS} digits",
    "PRESSURE": f"a float, or a decimal of at most {MOST_DECIMAL_DIGITS} digits",
    "INSTANT": "a timestamp with a time zone",
}


def profile_columns(schema: pa.Schema, row_count: int) -> TableProfile:
    """
    The table that a schema describes.

    A table with the column `ending` and without `run_id` is a lives table,
    any other a cycle table.

    Parameters
    ----------
    schema : pyarrow.Schema
        Of the uploaded file.
    row_count : int
        Rows of the file; passed on.

    Returns
    -------
    TableProfile

    Raises
    ------
    UploadRefused
        With every fault of the columns at once.
    """
    names = [str(name) for name in schema.names]
    table: TableKind = "LIVES" if "ending" in names and "run_id" not in names else "CYCLES"
    columns = CYCLE_COLUMNS if table == "CYCLES" else LIFE_COLUMNS
    findings = _repeated(names)
    used = [name for name in names if not name.startswith(IGNORED_PREFIX)]
    findings += _unknown(used, columns)
    profiles: list[ColumnProfile] = []
    for column in columns:
        profile, faults = _profile_column(column, schema, used)
        findings += faults
        if profile is not None:
            profiles.append(profile)
    if findings:
        raise UploadRefused(findings)
    return TableProfile(
        table=table,
        columns=tuple(profiles),
        row_count=row_count,
        column_mask=0 if table == "LIVES" else sum(OPTIONAL_MASK.get(p.name, 0) for p in profiles),
        source_zone=schema.field("started_at").type.tz if table == "CYCLES" else None,
    )


def _repeated(names: Sequence[str]) -> list[ProblemError]:
    """Names that stand twice; case does not tell columns apart."""
    counts = Counter(name.casefold() for name in names)
    first = {name.casefold(): name for name in reversed(names)}
    return [
        ProblemError(
            code="COLUMN_REPEATED",
            column=_shown(first[folded]),
            detail=f"The name {_shown(first[folded])!r} stands {count} times in the table (capital "
            "letters do not tell columns apart); keep one of them.",
        )
        for folded, count in counts.items()
        if count > 1
    ]


def _unknown(names: Sequence[str], columns: Sequence[Column]) -> list[ProblemError]:
    """Columns that the table does not describe, with the nearest name that it does."""
    known = [name for column in columns for name in _spellings(column)]
    # A pressure without a unit is known, and refused with a code of its own.
    bare = {column.name for column in columns}
    findings = []
    for name in dict.fromkeys(names):
        if name in known or name in bare:
            continue
        near = difflib.get_close_matches(
            name.casefold()[:_SHOWN_NAME_LENGTH], known, n=1, cutoff=_NEAREST
        )
        hint = f" The nearest name is {near[0]}." if near else ""
        findings.append(
            ProblemError(
                code="UNKNOWN_COLUMN",
                column=_shown(name),
                suggestion=near[0] if near else None,
                detail=f"The table has no column {_shown(name)!r}.{hint} Rename it, leave it out, "
                f"or begin its name with {IGNORED_PREFIX} to have it ignored.",
            )
        )
    return findings


def _profile_column(
    column: Column, schema: pa.Schema, names: Sequence[str]
) -> tuple[ColumnProfile | None, list[ProblemError]]:
    """One described column as it stands in the file, or what is wrong with it."""
    present = [name for name in _spellings(column) if name in names]
    if column.kind == "PRESSURE" and column.name in names:
        return None, [_unit_not_stated(column)]
    if len(present) > 1:
        return None, [_unit_ambiguous(column, present)]
    if not present:
        return None, [_missing(column)] if column.needed else []
    source_name = present[0]
    if names.count(source_name) > 1:
        return None, []  # told already
    arrow_type = schema.field(source_name).type
    if arrow_types.is_null(arrow_type) and not column.needed:
        return None, []  # a writer's type for a column without a single value
    fault = _type_fault(column, source_name, arrow_type)
    if fault is not None:
        return None, [fault]
    unit = source_name.rpartition("_")[2] if column.kind == "PRESSURE" else None
    return ColumnProfile(
        name=column.name,
        source_name=source_name,
        kind=column.kind,
        needed=column.needed,
        unit=unit,
    ), []


def _type_fault(column: Column, name: str, arrow_type: pa.DataType) -> ProblemError | None:
    """What is wrong with the type of a column's values, if anything."""
    if arrow_types.is_dictionary(arrow_type):
        arrow_type = arrow_type.value_type
    fits = any(test(arrow_type) for test in _TESTS[column.kind])
    if fits and arrow_types.is_decimal(arrow_type):
        fits = arrow_type.precision <= MOST_DECIMAL_DIGITS
    if not fits:
        return ProblemError(
            code="TYPE_NOT_ALLOWED",
            column=name,
            detail=f"{name} is {_shown(str(arrow_type))}; it must be {_WANTED[column.kind]}.",
        )
    if column.kind == "INSTANT" and arrow_type.tz is None:
        return ProblemError(
            code="TIMESTAMP_WITHOUT_ZONE",
            column=name,
            detail=f"{name} states no time zone; write it as a timestamp in UTC or with the "
            "rig's zone.",
        )
    return None


def _spellings(column: Column) -> list[str]:
    """Names under which a column may stand in a file."""
    if column.kind != "PRESSURE":
        return [column.name]
    return [f"{column.name}_{unit}" for unit in PRESSURE_UNITS]


def _missing(column: Column) -> ProblemError:
    name = " or ".join(_spellings(column))
    return ProblemError(
        code="COLUMN_MISSING",
        column=column.name,
        detail=f"The column {name} is missing ({column.meaning}); add it.",
    )


def _unit_not_stated(column: Column) -> ProblemError:
    return ProblemError(
        code="PRESSURE_UNIT_NOT_STATED",
        column=column.name,
        detail=f"{column.name} states no unit; name it {' or '.join(_spellings(column))}.",
    )


def _unit_ambiguous(column: Column, present: Sequence[str]) -> ProblemError:
    return ProblemError(
        code="PRESSURE_UNIT_AMBIGUOUS",
        column=present[0],
        detail=f"{column.name} stands in the table as {' and as '.join(present)}; keep one.",
    )


def _shown(text: str) -> str:
    """A sender's text, cut to a length that an answer can hold."""
    return text if len(text) <= _SHOWN_NAME_LENGTH else text[:_SHOWN_NAME_LENGTH] + "..."
