"""Names, units and types of the columns of an uploaded table."""

from typing import Any

import pyarrow as pa
import pytest
from parquet_files import cycle_columns, life_columns, without

from schemas.cycles import OPTIONAL_MASK
from schemas.problems import ProblemError
from schemas.profiles import TableProfile
from schemas.tables import CYCLES, LIVES
from service.errors import UploadRefused
from service.intake.columns import profile_columns


def profile(columns: dict[str, Any]) -> TableProfile:
    return profile_columns(pa.table(columns).schema, 20)


def findings(columns: dict[str, Any]) -> list[ProblemError]:
    with pytest.raises(UploadRefused) as refused:
        profile(columns)
    return refused.value.findings


def test_the_written_schemas_are_taken() -> None:
    assert profile_columns(CYCLES, 1).column_mask == sum(OPTIONAL_MASK.values())
    assert profile_columns(LIVES, 1).table == "LIVES"


@pytest.mark.parametrize(
    "kind",
    [
        pa.string(),
        pa.large_string(),
        pa.string_view(),
        pa.dictionary(pa.int8(), pa.string()),
        pa.dictionary(pa.int32(), pa.large_string()),
    ],
    ids=str,
)
def test_texts_may_be_stored_in_any_way(kind: pa.DataType) -> None:
    schema = CYCLES.set(CYCLES.get_field_index("rig_id"), pa.field("rig_id", kind))
    assert profile_columns(schema, 1).columns[0].kind == "TEXT"


@pytest.mark.parametrize("kind", [pa.int8(), pa.uint8(), pa.int32(), pa.uint64()], ids=str)
def test_counts_may_be_any_integer(kind: pa.DataType) -> None:
    index = CYCLES.get_field_index("cycle_in_run")
    profile_columns(CYCLES.set(index, pa.field("cycle_in_run", kind)), 1)


@pytest.mark.parametrize(
    "kind", [pa.float16(), pa.float32(), pa.float64(), pa.decimal128(38, 3), pa.int32()], ids=str
)
def test_measured_values_may_be_any_number(kind: pa.DataType) -> None:
    index = CYCLES.get_field_index("pressure_peak_mpa")
    profile_columns(CYCLES.set(index, pa.field("pressure_peak_mpa", kind)), 1)


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
@pytest.mark.parametrize("zone", ["UTC", "-03:30", "Asia/Tokyo"])
def test_instants_may_have_any_unit_and_zone(unit: str, zone: str) -> None:
    index = CYCLES.get_field_index("started_at")
    schema = CYCLES.set(index, pa.field("started_at", pa.timestamp(unit, tz=zone)))
    assert profile_columns(schema, 1).source_zone == zone


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("rig_id", pa.binary()),
        ("rig_id", pa.int64()),
        ("station_no", pa.bool_()),
        ("station_no", pa.float64()),
        ("station_no", pa.decimal128(5, 0)),
        ("cycle_in_run", pa.string()),
        ("started_at", pa.int64()),
        ("started_at", pa.date64()),
        ("started_at", pa.string()),
        ("rise_time_s", pa.string()),
        ("rise_time_s", pa.bool_()),
        ("rise_time_s", pa.duration("s")),
        ("rise_time_s", pa.decimal256(39, 2)),
        ("rise_time_s", pa.list_(pa.float64())),
    ],
    ids=str,
)
def test_other_types_are_refused_with_the_column_and_what_it_must_be(
    name: str, kind: pa.DataType
) -> None:
    schema = CYCLES.set(CYCLES.get_field_index(name), pa.field(name, kind))
    with pytest.raises(UploadRefused) as refused:
        profile_columns(schema, 1)
    (finding,) = refused.value.findings
    assert (finding.code, finding.column) == ("TYPE_NOT_ALLOWED", name)
    assert "must be" in finding.detail


@pytest.mark.parametrize(
    ("name", "nearest"),
    [
        ("presure_low_bar", "pressure_low_bar"),
        ("Sensor_ID", "sensor_id"),
        ("rise_time", "rise_time_s"),
        ("operator_shoe_size", None),
    ],
)
def test_an_unknown_column_is_refused_with_the_nearest_name(name: str, nearest: str | None) -> None:
    (finding,) = findings(cycle_columns(**{name: pa.array([1.0] * 20)}))
    assert (finding.code, finding.column) == ("UNKNOWN_COLUMN", name)
    assert finding.suggestion == nearest
    assert (finding.suggestion or "x_") in finding.detail


def test_a_column_that_begins_with_x_is_ignored_whatever_it_holds() -> None:
    columns = cycle_columns(x_note=pa.array([{"any": [1]}] * 20))
    assert profile(columns) == profile(cycle_columns())


def test_all_faults_are_told_at_once() -> None:
    columns = without(cycle_columns(colour=pa.array(["red"] * 20)), "rig_id", "run_id")
    columns["station_no"] = pa.array([1.0] * 20)
    found = {(finding.code, finding.column) for finding in findings(columns)}
    assert found == {
        ("UNKNOWN_COLUMN", "colour"),
        ("COLUMN_MISSING", "rig_id"),
        ("COLUMN_MISSING", "run_id"),
        ("TYPE_NOT_ALLOWED", "station_no"),
    }


def test_a_pressure_without_unit_is_not_called_missing_or_unknown_too() -> None:
    columns = without(cycle_columns(pressure_peak=pa.array([1.0] * 20)), "pressure_peak_bar")
    (finding,) = findings(columns)
    assert finding.code == "PRESSURE_UNIT_NOT_STATED"
    assert "pressure_peak_psi" in finding.detail


def test_a_name_too_long_for_an_answer_is_cut() -> None:
    (finding,) = findings(cycle_columns(**{"y" * 5_000: pa.array([1.0] * 20)}))
    assert len(finding.detail) < 400


def test_a_column_without_a_single_value_is_as_good_as_none() -> None:
    # A data frame that never had a stop writes that column with the type of nothing.
    assert profile(cycle_columns(stop_reason=pa.nulls(20))) == profile(cycle_columns())
    (finding,) = findings(cycle_columns(rig_id=pa.nulls(20)))
    assert finding.code == "TYPE_NOT_ALLOWED"


def test_a_lives_table_has_no_cycle_columns() -> None:
    (finding,) = findings(life_columns(rig_id=pa.array(["RIG-A"] * 3)))
    assert (finding.code, finding.column) == ("UNKNOWN_COLUMN", "rig_id")


def test_the_mask_says_which_optional_columns_are_there() -> None:
    columns = cycle_columns(
        pressure_low_psi=pa.array([100.0] * 20), sensor_id=pa.array(["PT-1"] * 20)
    )
    expected = OPTIONAL_MASK["pressure_low"] | OPTIONAL_MASK["sensor_id"]
    assert profile(columns).column_mask == expected
