"""Lots, units, stretches and texts get one key each, for good."""

import pyarrow as pa
import pytest
from parquet_files import cycle_columns
from uploads_by_hand import rows_of, upload

from service.errors import UploadRefused
from service.storage.store import Store


def test_a_stretch_is_a_rig_run_station_and_unit(store: Store) -> None:
    upload(
        store,
        cycle_columns(
            6,
            rig_id=pa.array(["A", "B", "A", "A", "A", "A"]),
            run_id=pa.array(["1", "1", "2", "1", "1", "1"]),
            station_no=pa.array([1, 1, 1, 2, 1, 1]),
            unit_serial=pa.array(["u", "u", "u", "u", "v", "u"]),
        ),
    )
    assert rows_of(store, "SELECT count(*) FROM stretch_bases") == [(5,)]
    assert rows_of(store, "SELECT count(*) FROM units") == [(2,)]


def test_the_same_serial_in_another_lot_is_another_unit(store: Store) -> None:
    upload(store, cycle_columns(2, lot_number=pa.array(["CC25-0117", "CC25-0118"])))
    assert rows_of(store, "SELECT count(*) FROM units") == [(2,)]
    assert rows_of(store, "SELECT count(DISTINCT unit_id) FROM units") == [(2,)]


def test_keys_are_found_again_by_later_uploads(store: Store) -> None:
    first = upload(store, cycle_columns(10, stop_reason=pa.array(["A"] * 10)))
    counter = pa.array(range(11, 21))
    stops = pa.array(["A"] * 5 + ["B"] * 5)
    later = upload(store, cycle_columns(10, cycle_in_run=counter, stop_reason=stops))
    assert later.stretch_keys == first.stretch_keys
    assert later.unit_keys == first.unit_keys
    assert rows_of(store, "SELECT text_key, text FROM texts ORDER BY 1") == [(1, "A"), (2, "B")]


def test_the_order_of_rows_gives_no_other_keys(store: Store) -> None:
    serials = ["C", "A", "B"]
    upload(store, cycle_columns(3, unit_serial=pa.array(serials)))
    assert rows_of(store, "SELECT unit_serial FROM units ORDER BY unit_key") == [
        ("A",),
        ("B",),
        ("C",),
    ]


def test_ranges_and_tallies_of_a_stretch_are_kept(store: Store) -> None:
    upload(store, cycle_columns(20, stop_reason=pa.array([None] * 19 + ["TARGET_REACHED"])))
    rows = rows_of(
        store,
        "SELECT stored_rows, duplicate_rows, conflicting_rows, first_cycle_in_run, "
        "last_cycle_in_run, first_started_at::VARCHAR, last_started_at::VARCHAR "
        "FROM upload_stretches",
    )
    assert rows == [(20, 0, 0, 1, 20, "2026-03-02 06:00:03", "2026-03-02 06:01:00")]


def test_too_many_stretches_are_refused(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("service.storage.arrivals_keys.MOST_GROUPS", 9)
    serials = pa.array([str(number % 10) for number in range(20)])
    with pytest.raises(UploadRefused) as refused:
        upload(store, cycle_columns(unit_serial=serials))
    assert refused.value.findings[0].code == "TOO_MANY_STRETCHES"


def test_control_characters_are_refused_in_any_text(store: Store) -> None:
    for name in ("run_id", "stop_reason", "sensor_id"):
        with pytest.raises(UploadRefused) as refused:
            upload(store, cycle_columns(**{name: pa.array(["a\nb"] * 20)}))
        assert (refused.value.findings[0].code, refused.value.findings[0].column) == (
            "TEXT_NOT_PRINTABLE",
            name,
        )


def test_other_letters_and_quotes_are_kept_as_they_are(store: Store) -> None:
    serial = "Zylinder Ω '; DROP TABLE lots; --"
    stops = pa.array([f"it's {number} $test_mode" for number in range(20)])
    upload(store, cycle_columns(unit_serial=pa.array([serial] * 20), stop_reason=stops))
    assert rows_of(store, "SELECT unit_serial FROM units") == [(serial,)]
    assert rows_of(store, "SELECT count(*) FROM texts WHERE text LIKE 'it''s %'") == [(20,)]
