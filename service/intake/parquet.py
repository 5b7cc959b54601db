"""Opening an uploaded Parquet file without trusting it.

A damaged or hostile file can end the whole process when the details of a column chunk are
asked for (its statistics, its encryption). Nothing in this package does: only the length of
the footer, the schema, and the size and row count of each row group are looked at.
"""

from __future__ import annotations

from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
from msgspec import Struct

from schemas.problems import ProblemError
from schemas.profiles import TableLimits, TableProfile
from service.errors import UploadRefused
from service.intake.columns import profile_columns

_MAGIC = b"PAR1"
_ENCRYPTED_MAGIC = b"PARE"
_TAIL_BYTES = 8
_LEAST_BYTES = len(_MAGIC) + _TAIL_BYTES
_MOST_FOOTER_BYTES = 32 * 1024**2
"""A table of 50 million rows in row groups of 10,000 needs about 12 MB."""
_MOST_NAME_BYTES = 1024**2
_SIGNATURE_BYTES = 28
"""Nonce and tag after a footer that is readable although columns are encrypted: nothing else
tells such a file from a plain one without asking for the details of a column chunk."""
_EXPANSION_FREE_BYTES = 16 * 1024**2
"""A file that expands to less than this may do so by any factor."""


class _Footer(Struct, frozen=True):
    """Length of the footer and of the whole file, as the last bytes say."""

    footer_bytes: int
    file_bytes: int


def read_profile(path: Path, limits: TableLimits) -> TableProfile:
    """
    Which table a file holds and what its columns are; no value is read.

    Parameters
    ----------
    path : Path
        File in the spool, under a name that the service made.
    limits : TableLimits
        Most rows and columns, and how far the file may expand.

    Returns
    -------
    TableProfile

    Raises
    ------
    UploadRefused
        With every fault that can be seen without reading a value: NOT_PARQUET,
        PARQUET_DAMAGED, PARQUET_ENCRYPTED, NO_ROWS, TOO_MANY_ROWS,
        TOO_MANY_COLUMNS or EXPANDS_TOO_FAR alone, else all of
        COLUMN_REPEATED, UNKNOWN_COLUMN, COLUMN_MISSING, TYPE_NOT_ALLOWED,
        PRESSURE_UNIT_NOT_STATED, PRESSURE_UNIT_AMBIGUOUS and
        TIMESTAMP_WITHOUT_ZONE that apply.
    """
    footer = _read_tail(path)
    try:
        with pq.ParquetFile(
            path,
            thrift_string_size_limit=_MOST_NAME_BYTES,
            thrift_container_size_limit=_MOST_FOOTER_BYTES // 8,
        ) as file:
            row_count = _check_sizes(file.metadata, footer, limits)
            schema: pa.Schema = file.schema_arrow
    except (pa.ArrowException, OSError, ValueError):
        # ValueError: a name that is no UTF-8 text. Their messages may hold a path: not repeated.
        raise _refusal("PARQUET_DAMAGED", "The file's footer cannot be read.") from None
    return profile_columns(schema, row_count)


def _read_tail(path: Path) -> _Footer:
    """Check both ends of the file before any library sees it."""
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(len(_MAGIC))
        file.seek(max(size - _TAIL_BYTES, 0))
        tail = file.read(_TAIL_BYTES)
    if head == _ENCRYPTED_MAGIC:
        raise _encrypted()
    if head != _MAGIC:
        said = "The body is empty." if size == 0 else "The body is not a Parquet file."
        raise _refusal("NOT_PARQUET", said, "Send one Parquet file as the whole body.")
    if size < _LEAST_BYTES or tail[4:] != _MAGIC:
        raise _refusal("PARQUET_DAMAGED", "The file is not complete: its end is missing.")
    footer_bytes = int.from_bytes(tail[:4], "little")
    if not 0 < footer_bytes <= size - _LEAST_BYTES:
        raise _refusal("PARQUET_DAMAGED", "The file states a footer longer than the file.")
    if footer_bytes > _MOST_FOOTER_BYTES:
        raise _refusal(
            "PARQUET_DAMAGED",
            f"The file's footer is longer than {_MOST_FOOTER_BYTES} bytes.",
            "Write it with fewer, larger row groups.",
        )
    return _Footer(footer_bytes, size)


def _check_sizes(metadata: pq.FileMetaData, footer: _Footer, limits: TableLimits) -> int:
    """Row count of the file; refused where it is empty, too large or not readable for us."""
    if footer.footer_bytes - metadata.serialized_size == _SIGNATURE_BYTES:
        raise _encrypted()
    if metadata.num_columns > limits.max_columns:
        raise _refusal(
            "TOO_MANY_COLUMNS",
            f"The file has {metadata.num_columns} columns; at most {limits.max_columns} are taken.",
            "Leave out what the table does not describe.",
        )
    groups = [metadata.row_group(index) for index in range(metadata.num_row_groups)]
    row_count = int(metadata.num_rows)
    if any(group.num_rows < 0 for group in groups) or row_count != sum(
        group.num_rows for group in groups
    ):
        raise _refusal("PARQUET_DAMAGED", "The file's footer contradicts itself about its rows.")
    if row_count == 0:
        raise _refusal("NO_ROWS", "The table has no rows.", "Send a table with at least one row.")
    if row_count > limits.max_rows:
        raise _refusal(
            "TOO_MANY_ROWS",
            f"The table has {row_count} rows; at most {limits.max_rows} are taken.",
            "Send it in several uploads; their order does not matter.",
        )
    expanded = sum(abs(group.total_byte_size) for group in groups)
    allowed = min(
        max(limits.max_expansion * footer.file_bytes, _EXPANSION_FREE_BYTES),
        limits.max_expanded_bytes,
    )
    if expanded > allowed:
        raise _refusal(
            "EXPANDS_TOO_FAR",
            f"The file of {footer.file_bytes} bytes would expand to {expanded} bytes; "
            f"at most {allowed} are taken.",
            "Send it in several uploads, without long texts.",
        )
    return row_count


def _encrypted() -> UploadRefused:
    return _refusal(
        "PARQUET_ENCRYPTED",
        "The file or some of its columns are encrypted.",
        "Write it without Parquet encryption; the connection protects it on its way.",
    )


def _refusal(
    code: str, said: str, remedy: str = "Write the file again and send it."
) -> UploadRefused:
    return UploadRefused([ProblemError(code=code, detail=f"{said} {remedy}")])
