"""The Arrow schemas are the described columns, in their order and with their needs."""

import pyarrow as pa
import pytest

from schemas.cycles import CYCLE_COLUMNS, LIFE_COLUMNS, PRESSURE_UNITS
from schemas.tables import CYCLES, LIVES, arrow_schema


@pytest.mark.parametrize("unit", PRESSURE_UNITS)
def test_a_pressure_column_ends_in_its_unit(unit: str) -> None:
    names = arrow_schema(CYCLE_COLUMNS, unit).names
    pressures = [name for name in names if name.startswith("pressure_")]
    assert len(pressures) == 6
    assert all(name.endswith(f"_{unit}") for name in pressures)


def test_needed_columns_hold_a_value_in_every_row() -> None:
    needed = [field.name for field in CYCLES if not field.nullable]
    assert needed == [
        "rig_id",
        "station_no",
        "lot_number",
        "unit_serial",
        "run_id",
        "cycle_in_run",
        "started_at",
        "pressure_peak_mpa",
    ]
    assert [field.name for field in LIVES if not field.nullable] == [
        "lot_number",
        "unit_serial",
        "ending",
    ]


def test_instants_carry_a_zone_and_the_order_is_that_of_the_description() -> None:
    assert CYCLES.field("started_at").type == pa.timestamp("us", tz="UTC")
    assert LIVES.names == [column.name for column in LIFE_COLUMNS]
    assert CYCLES.metadata == {b"lotproof_table_version": b"1"}
