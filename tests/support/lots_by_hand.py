"""Lots told straight to a store, without HTTP: rows, specifications, records, inspections."""

from __future__ import annotations

import io
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Any

import msgspec
import pyarrow as pa
import pyarrow.parquet as pq
from bodies import attribute_spec, inspection, rig_event
from stores import stamp
from uploads_by_hand import upload

from schemas.lots import NewAssignment, NewInspection, NewLot, NewRigEvent, NewUnit, RigSettings
from schemas.specs import Spec, SpecApproval, SpecVersion
from schemas.uploads import Upload
from service.storage import lots, records, specs, units
from service.storage.store import Cursor, Store

LOT = "CC25-0117"
FIRST_START = datetime(2026, 11, 20, 6, 0, tzinfo=UTC)
SECONDS_A_CYCLE = 2.5
GOOD, LOW, HIGH = 33.0, 20.0, 36.0
"""Peaks in MPa that `attribute_spec` counts, finds too low and finds too high."""
Rows = list[dict[str, Any]]


def at(hour: float = 0.0, cycles: float = 0.0) -> datetime:
    """So many hours after the first instant, and then so many cycles' time."""
    return FIRST_START + timedelta(hours=hour, seconds=SECONDS_A_CYCLE * cycles)


def run_rows(
    serial: str, run_id: str, peaks_mpa: Iterable[float], *, hour: float = 0.0, **columns: Any
) -> Rows:
    """Rows of one run from counter 1 on, on station 1 of RIG-A unless `columns` say otherwise."""
    return [
        {
            "rig_id": "RIG-A",
            "station_no": 1,
            "lot_number": LOT,
            "unit_serial": serial,
            "run_id": run_id,
            "cycle_in_run": number,
            "started_at": at(hour, number),
            "pressure_peak_mpa": peak,
            **columns,
        }
        for number, peak in enumerate(peaks_mpa, start=1)
    ]


def rows_table(rows: Rows, **options: Any) -> bytes:
    """The rows as a Parquet file; `options` go to the writer and change no row."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    table = pa.table({name: [row.get(name) for row in rows] for name in names})
    sink = io.BytesIO()
    pq.write_table(table, sink, **options)
    return sink.getvalue()


def add_rows(
    store: Store, rows: Rows, *, received_at: datetime | None = None, **options: Any
) -> Upload:
    """Upload rows; the receipt."""
    return upload(store, rows_table(rows, **options), received_at=received_at).receipt


def lot_id_of(store: Store, lot_number: str = LOT) -> str:
    def question(db: Cursor) -> str:
        lot_key = lots.lot_key_of_number(db, lot_number)
        assert lot_key is not None
        return lots.find_lot(db, lot_key).lot_id

    return store.read_now(question)


def lot_key_of(store: Store, lot_number: str = LOT) -> int:
    lot_key = store.read_now(lambda db: lots.lot_key_of_number(db, lot_number))
    assert lot_key is not None
    return lot_key


def unit_key_of(store: Store, serial: str, lot_number: str = LOT) -> int:
    lot_key = lot_key_of(store, lot_number)
    return store.read_now(lambda db: units.find_named_units(db, lot_key, [serial]))[serial].unit_key


def register(store: Store, lot_number: str = LOT) -> str:
    """Register a lot, whether rows named it already or not; its id."""

    def change(db: Cursor) -> str:
        lot_key = lots.lot_key_of_number(db, lot_number)
        if lot_key is None:
            lot_key = lots.add_lot(db, lot_number, stamp().at)
        body = NewLot(lot_number=lot_number, part_number="CC25")
        lots.register_lot(db, lot_key, body, stamp())
        return lots.find_lot(db, lot_key).lot_id

    return store.write_now(change)


def list_sample(store: Store, *sample: NewUnit, lot_number: str = LOT) -> None:
    lot_key = lot_key_of(store, lot_number)
    store.write_now(lambda db: units.add_to_sample(db, lot_key, sample, stamp()))


def approved(store: Store, spec_id: str = "CC25-A", **changes: Any) -> SpecVersion:
    """An approved `attribute_spec`."""
    spec = msgspec.convert(attribute_spec(spec_id, **changes), Spec)

    def change(db: Cursor) -> SpecVersion:
        draft = specs.add_draft(db, spec, stamp())
        approval = SpecApproval(meaning="approved", reason="reviewed")
        return specs.approve_version(db, draft, approval, stamp())

    return store.write_now(change)


def assign(
    store: Store, version: SpecVersion, *, lot_number: str = LOT, at_instant: datetime | None = None
) -> None:
    """Make a version the lot's own; before its first row unless an instant is given."""
    lot_key = lot_key_of(store, lot_number)
    body = NewAssignment(spec_id=version.spec_id, version=version.version, reason="as ordered")
    when = msgspec.structs.replace(stamp(), at=at_instant or at(-1))
    store.write_now(lambda db: lots.add_assignment(db, lot_key, body, version.hash, when))


def inspect(store: Store, serial: str, key: str = "I-1", **changes: Any) -> None:
    """Record an inspection, clean unless `changes` say otherwise."""
    lot_number = changes.pop("lot_number", LOT)
    found = msgspec.convert(inspection(key, lot_number, serial, **changes), NewInspection)
    unit_key = unit_key_of(store, serial, lot_number)
    store.write_now(lambda db: records.add_inspection(db, found, unit_key, stamp()))


def happen(store: Store, key: str = "E-1", serial: str | None = None, **changes: Any) -> None:
    """Record a rig event; one that names a unit names it by `serial`."""
    named = {} if serial is None else {"unit": {"lot_number": LOT, "unit_serial": serial}}
    event = msgspec.convert(rig_event(key, **named, **changes), NewRigEvent)
    unit_key = None if serial is None else unit_key_of(store, serial)
    store.write_now(lambda db: records.add_rig_event(db, event, unit_key, stamp()))


def set_rig(store: Store, rig_id: str = "RIG-A", **settings: Any) -> None:
    body = msgspec.convert(settings, RigSettings)
    store.write_now(lambda db: records.set_rig(db, rig_id, body, stamp()))
