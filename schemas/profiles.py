"""What the footer of an uploaded table says, once it has been found in order."""

from msgspec import Struct

from schemas.cycles import ColumnKind
from schemas.uploads import TableKind


class ColumnProfile(Struct, frozen=True, kw_only=True):
    """
    One column that is read from an uploaded file.

    `name` is the name without a pressure unit, `source_name` the one in the
    file, `unit` the pressure unit at the end of it.
    """

    name: str
    source_name: str
    kind: ColumnKind
    needed: bool
    unit: str | None = None


class TableProfile(Struct, frozen=True, kw_only=True):
    """
    An uploaded table whose columns are known and of the right kinds; no value is checked yet.

    `column_mask` has the bit of `schemas.cycles.OPTIONAL_MASK` of every
    optional cycle column that is there. Columns to be ignored are not listed.
    """

    table: TableKind
    columns: tuple[ColumnProfile, ...]
    row_count: int
    column_mask: int
    source_zone: str | None = None


class TableLimits(Struct, frozen=True, kw_only=True):
    """What an uploaded table may ask of the machine; none of it changes a number."""

    max_rows: int
    max_columns: int
    max_string_length: int
    max_expansion: int = 1_000
    """Most bytes that one byte of the file may stand for, in files that expand far at all."""
    max_expanded_bytes: int = 64 * 1024**3
