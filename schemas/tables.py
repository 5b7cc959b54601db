"""The uploaded tables as Arrow schemas, for whoever writes them; the words are in cycles.py."""

from __future__ import annotations

import pyarrow as pa

from schemas.cycles import CYCLE_COLUMNS, CYCLE_TABLE_VERSION, LIFE_COLUMNS, Column

_TYPES: dict[str, pa.DataType] = {
    "TEXT": pa.string(),
    "INTEGER": pa.int64(),
    "NUMBER": pa.float64(),
    "PRESSURE": pa.float64(),
    "INSTANT": pa.timestamp("us", tz="UTC"),
}


def arrow_schema(columns: tuple[Column, ...], pressure_unit: str) -> pa.Schema:
    """
    Arrow schema of a table whose pressures are all in one unit.

    Parameters
    ----------
    columns : tuple of Column
        `CYCLE_COLUMNS` or `LIFE_COLUMNS`.
    pressure_unit : {"mpa", "bar", "kpa", "psi"}
        End of the names of the pressure columns.

    Returns
    -------
    pyarrow.Schema
        In the order of `columns`. Other types of the same kinds are taken too:
        dictionary or large strings, any integer, any float, any unit of time.

    Examples
    --------
    >>> arrow_schema(CYCLE_COLUMNS, "bar").field("pressure_peak_bar").type
    DataType(double)
    """
    fields = [
        pa.field(
            f"{column.name}_{pressure_unit}" if column.kind == "PRESSURE" else column.name,
            _TYPES[column.kind],
            # A lives table has an empty `cycles` for a life that lies between two counts.
            nullable=not column.needed or column.name == "cycles",
        )
        for column in columns
    ]
    return pa.schema(fields, metadata={"lotproof_table_version": str(CYCLE_TABLE_VERSION)})


CYCLES = arrow_schema(CYCLE_COLUMNS, "mpa")
LIVES = arrow_schema(LIFE_COLUMNS, "mpa")
