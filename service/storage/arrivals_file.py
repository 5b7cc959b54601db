"""An uploaded Parquet file as something that SQL can read without believing what it claims."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import duckdb
from msgspec import Struct

from schemas.cycles import MPA_PER_PSI, PRESSURE_DIVISORS, ColumnKind
from schemas.problems import MAX_ROWS_NAMED, ProblemError
from schemas.profiles import ColumnProfile, TableProfile
from service.errors import UploadRefused
from service.storage.store import Cursor

ROWS = "read_parquet($files)"
NUMBERED_ROWS = "read_parquet($files, file_row_number = true)"
NOT_RECORDED = "'NaN'::DOUBLE"

_INTEGERS = frozenset(
    f"{sign}{size}INT" for sign in ("", "U") for size in ("TINY", "SMALL", "BIG")
) | {"INTEGER", "UINTEGER"}
_NUMBERS = _INTEGERS | {"FLOAT", "DOUBLE", "DECIMAL"}
_DATABASE_TYPES: dict[ColumnKind, frozenset[str]] = {
    "TEXT": frozenset({"VARCHAR"}),
    "INTEGER": _INTEGERS,
    "NUMBER": _NUMBERS,
    "PRESSURE": _NUMBERS,
    "INSTANT": frozenset({"TIMESTAMP WITH TIME ZONE", "TIMESTAMPTZ", "TIMESTAMPTZ_NS"}),
}
# Errors that are ours, or that no other file would cure: never told as a fault of the upload.
_NOT_THE_FILES = (
    duckdb.BinderException,
    duckdb.CatalogException,
    duckdb.ParserException,
    duckdb.FatalException,
    duckdb.InterruptException,
    duckdb.PermissionException,
    duckdb.TransactionException,
)


class Arrival(Struct, frozen=True, kw_only=True):
    """
    A spooled file that passed the checks of its footer, and how it came here.

    `max_string_length` is in characters.
    """

    path: Path
    profile: TableProfile
    sha256: str
    byte_count: int
    received_at: datetime
    received_from: str
    max_string_length: int


class ArrivedFile:
    """
    The file of an arrival as SQL sees it.

    `parameters` bind `ROWS` and `NUMBERED_ROWS`. So do `text_parameters`, for
    the lengths of texts only: they are read from the dictionary of a column,
    in no time, and no file states them.
    """

    def __init__(self, arrival: Arrival, companion: Path) -> None:
        self.profile = arrival.profile
        self.max_string_length = arrival.max_string_length
        self.columns = {column.name: column for column in arrival.profile.columns}
        self.text_parameters = {"files": [str(arrival.path)]}
        self.parameters = {"files": [str(arrival.path), str(companion)]}

    def source(self, name: str) -> str:
        """SQL for a column's uploaded values."""
        return f"r.{self.columns[name].source_name}"

    def stored(self, name: str) -> str:
        """SQL for a column's values as they are stored: in MPa, in UTC, in our types."""
        return stored_value(self.columns[name])

    def find_rows(
        self, db: Cursor, condition: str, *, by_length: bool = False
    ) -> tuple[int, list[int]]:
        """
        How many rows meet a condition, and the numbers of the first ones, from 1.

        The condition is not a WHERE: that one would skip parts of the file
        which, by what the file says about them, cannot meet it.
        """
        row = db.execute(
            f"SELECT count_if({condition}), "
            f"min(r.file_row_number, {MAX_ROWS_NAMED}) FILTER (WHERE {condition}) "
            f"FROM {NUMBERED_ROWS} AS r",
            self.text_parameters if by_length else self.parameters,
        ).fetchone()
        assert row is not None  # an aggregate without groups always gives a row
        return int(row[0]), [int(number) + 1 for number in row[1] or []]


@contextlib.contextmanager
def opened(db: Cursor, arrival: Arrival) -> Iterator[ArrivedFile]:
    """
    The file of an arrival, readable by SQL while the block runs.

    The database believes the smallest and largest values that a Parquet file
    states about itself and skips checks that they answer; a damaged or hostile
    file could hide bad values behind them. For a list of files it does not, so
    the file is read together with an empty companion of the same columns.

    Raises
    ------
    UploadRefused
        If the database reads a column as another type than the footer promised.
    """
    companion = arrival.path.with_suffix(".empty.parquet")
    wanted = ", ".join(column.source_name for column in arrival.profile.columns)
    try:
        with reading(db, arrival):
            _check_types(db, arrival)
            db.execute(
                f"COPY (SELECT {wanted} FROM read_parquet($file) LIMIT 0) "
                "TO $companion (FORMAT parquet)",
                {"file": str(arrival.path), "companion": str(companion)},
            )
        yield ArrivedFile(arrival, companion)
    finally:
        companion.unlink(missing_ok=True)


@contextlib.contextmanager
def reading(db: Cursor, arrival: Arrival) -> Iterator[None]:
    """
    Errors of the database while it reads the file, told as faults of the file.

    Raises
    ------
    UploadRefused
        EXPANDS_TOO_FAR if the file needs more memory than there is,
        TIMESTAMP_OUT_OF_RANGE or PARQUET_DAMAGED with the column that fails.
    """
    try:
        yield
    except duckdb.OutOfMemoryException:
        raise UploadRefused(
            [
                ProblemError(
                    code="EXPANDS_TOO_FAR",
                    detail="Reading the table needs more memory than it may use. Send it in "
                    "several uploads, with smaller row groups and without long texts.",
                )
            ]
        ) from None
    except _NOT_THE_FILES:
        raise
    except duckdb.Error:
        raise UploadRefused([_damaged_column(db, arrival)]) from None


def stored_value(column: ColumnProfile) -> str:
    """SQL that turns an uploaded value into a stored one; see `schemas.cycles` for the units."""
    name = f"r.{column.source_name}"
    if column.kind == "TEXT":
        return name if column.needed else f"nullif({name}, '')"
    if column.kind == "INTEGER":
        return f"{name}::BIGINT"
    if column.kind == "INSTANT":
        # Cheaper than a cast, which asks the calendar of the session's zone about every row.
        return f"make_timestamp(epoch_us({name}::TIMESTAMPTZ))"
    if column.unit is None:
        return f"{name}::DOUBLE"
    if column.unit == "psi":
        return f"{name}::DOUBLE * {MPA_PER_PSI!r}::DOUBLE"
    divisor = PRESSURE_DIVISORS[column.unit]
    return f"{name}::DOUBLE" if divisor == 1.0 else f"{name}::DOUBLE / {divisor!r}::DOUBLE"


def _check_types(db: Cursor, arrival: Arrival) -> None:
    """The footer holds two descriptions of each column; the database goes by the other one."""
    described = db.execute(
        "DESCRIBE SELECT * FROM read_parquet($file)", {"file": str(arrival.path)}
    ).fetchall()
    types = {str(row[0]): str(row[1]) for row in described}
    findings = [
        ProblemError(
            code="TYPE_NOT_ALLOWED",
            column=column.source_name,
            detail=f"The file describes {column.source_name} in two ways that differ; "
            "write it again without a stored Arrow schema.",
        )
        for column in arrival.profile.columns
        if types.get(column.source_name, "").partition("(")[0] not in _DATABASE_TYPES[column.kind]
    ]
    if findings:
        raise UploadRefused(findings)


def _damaged_column(db: Cursor, arrival: Arrival) -> ProblemError:
    """The first column that cannot be read to its end, found on a cursor that still works."""
    with db.cursor() as probe:
        for column in arrival.profile.columns:
            try:
                probe.execute(
                    f"SELECT max(hash({stored_value(column)})) FROM read_parquet($file) AS r",
                    {"file": str(arrival.path)},
                ).fetchall()
            except duckdb.ConversionException:
                if column.kind == "INSTANT":
                    return ProblemError(
                        code="TIMESTAMP_OUT_OF_RANGE",
                        column=column.source_name,
                        detail=f"{column.source_name} holds instants that no calendar has; "
                        "correct the unit of time.",
                    )
                return _damaged(column.source_name)
            except duckdb.Error:
                return _damaged(column.source_name)
    return _damaged(None)


def _damaged(column: str | None) -> ProblemError:
    where = f"its column {column}" if column else "it"
    return ProblemError(
        code="PARQUET_DAMAGED",
        column=column,
        detail=f"The file is damaged: {where} cannot be read to the end. Write it again and "
        "send it with a Content-Digest header.",
    )
