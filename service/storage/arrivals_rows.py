"""The columns of a stored cycle and the SQL that makes each from an uploaded row."""

from __future__ import annotations

from collections.abc import Sequence

from schemas.cycles import CYCLE_COLUMNS
from service.storage.arrivals_file import NOT_RECORDED, ArrivedFile
from service.storage.arrivals_keys import KeyedFile
from service.storage.arrivals_routes import TEXT_KEY_COLUMNS, Routes

IDENTITY_COLUMNS = ("stretch_key", "cycle_in_run", "started_at")
STORED_NUMBERS = {
    column.name: f"{column.name}_mpa" if column.kind == "PRESSURE" else column.name
    for column in CYCLE_COLUMNS
    if column.kind in ("PRESSURE", "NUMBER")
}
"""Stored column of each uploaded number."""
STORED_INTEGERS = {"station_cycle_total": "BIGINT", "logged_every": "INTEGER"}
VALUE_COLUMNS = (*STORED_NUMBERS.values(), *TEXT_KEY_COLUMNS.values(), *STORED_INTEGERS)
"""Columns that two rows of one identity are compared by."""
ROW_COLUMNS = (*IDENTITY_COLUMNS, *VALUE_COLUMNS)
"""Columns of `cycle_rows` and `conflicting_rows` but the upload's key."""


def row_expressions(keyed: KeyedFile, routes: Routes) -> Sequence[str]:
    """
    SQL for each of `ROW_COLUMNS`, in that order.

    Parameters
    ----------
    keyed : KeyedFile
    routes : Routes
    """
    file = keyed.file
    numbers = [_number(file, name, name in keyed.finite) for name in STORED_NUMBERS]
    texts = [routes.text_keys[name] for name in TEXT_KEY_COLUMNS]
    integers = [
        f"{file.source(name)}::{kind}" if name in file.columns else f"NULL::{kind}"
        for name, kind in STORED_INTEGERS.items()
    ]
    identity = ["s.stretch_key", file.stored("cycle_in_run"), file.stored("started_at")]
    return [*identity, *numbers, *texts, *integers]


def _number(file: ArrivedFile, name: str, is_finite: bool) -> str:
    """NULL says that there is no such column, NaN that the cell holds no number."""
    if name not in file.columns:
        return "NULL::DOUBLE"
    value = file.stored(name)
    if is_finite:
        return value
    return f"CASE WHEN isfinite({value}) THEN {value} ELSE {NOT_RECORDED} END"
