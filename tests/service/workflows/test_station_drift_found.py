"""Stations are watched from stored rows to the evaluation."""

from __future__ import annotations

import statistics
from collections import defaultdict
from datetime import UTC, datetime
from typing import Any

import msgspec
import numpy as np
import pytest
from lots_by_hand import Rows, add_rows, approved, assign, lot_id_of, register, run_rows

from schemas.decisions import Evaluation
from service.storage import memos
from service.storage.store import Store
from service.workflows.evaluate_lot import evaluate
from service.workflows.reduce_lot import evidence_of, read_lot

HOURS = 16
CYCLES_IN_HOUR = 120
"""A cycle every 30 s keeps the file small; an hour needs 100 counted cycles."""
MOVED_MPA = 0.4


def station_rows(station: int, rng: np.random.Generator, *, moved_mpa: float = 0.0) -> Rows:
    """Rows of one station for all hours; from the ninth hour on it reads `moved_mpa` more."""
    count = HOURS * CYCLES_IN_HOUR
    peaks = rng.normal(33.2 + station / 50, 0.05, count)
    peaks[count // 2 :] += moved_mpa
    rows = run_rows(f"00{station}", f"run-{station}", peaks.round(3).tolist(), station_no=station)
    first = datetime(2026, 11, 20, 6, 0, tzinfo=UTC).timestamp()
    return [
        row
        | {
            "started_at": datetime.fromtimestamp(first + 30 * number, UTC),
            "pressure_low_mpa": round(float(rng.normal(0.08, 0.005)), 4),
        }
        for number, row in enumerate(rows)
    ]


def told(store: Store, *, moved_mpa: float, **reduction: Any) -> list[Rows]:
    """Four stations, the first of which may move; their rows by station."""
    register(store)
    assign(store, approved(store, reduction=reduction))
    rng = np.random.default_rng(7)
    files = [station_rows(n, rng, moved_mpa=moved_mpa if n == 1 else 0.0) for n in (1, 2, 3, 4)]
    for rows in files:
        add_rows(store, rows)
    return files


def evaluation_of(store: Store) -> Evaluation:
    lot_id = lot_id_of(store)
    return store.read_now(lambda db: evaluate(db, lot_id))


def test_hours_are_the_means_of_the_counted_cycles(store: Store) -> None:
    files = told(store, moved_mpa=0.0, station_drift_mpa=0.25)
    lot_id = lot_id_of(store)
    units = store.read_now(lambda db: evidence_of(db, read_lot(db, lot_id), keep=False))
    for unit, rows in zip(units, files, strict=True):
        by_hour: dict[datetime, Rows] = defaultdict(list)
        for row in rows:
            hour = row["started_at"].replace(minute=0, second=0, tzinfo=None)
            by_hour[hour].append(row)
        [stretch] = unit.stretches
        assert [each.started_at for each in stretch.hours] == sorted(by_hour)
        for each in stretch.hours:
            of_hour = by_hour[each.started_at]
            assert each.counted_cycles == len(of_hour)
            for name in ("pressure_peak_mpa", "pressure_low_mpa"):
                mean = statistics.fmean(row[name] for row in of_hour)
                assert getattr(each, name) == pytest.approx(mean, abs=2e-6)
            assert (each.pressure_decay_mpa, each.rise_time_s) == (None, None)


def test_a_station_that_moved_is_a_finding_of_the_lot_and_of_its_unit(store: Store) -> None:
    told(store, moved_mpa=MOVED_MPA, station_drift_mpa=0.25)
    found = evaluation_of(store)
    assert "STATION_DRIFT" in found.marks
    [drift] = found.station_drifts
    assert (drift.rig_id, drift.station_no, drift.limit_mpa) == ("RIG-A", 1, 0.25)
    assert drift.drift_mpa == pytest.approx(MOVED_MPA, abs=0.03)
    assert drift.neighbours == [2, 3, 4]
    marked = {unit.unit_serial: "STATION_DRIFT" in unit.marks for unit in found.units}
    assert marked == {"001": True, "002": False, "003": False, "004": False}
    # A finding decides nothing: no hold, and no other verdict than without the watch.
    assert (found.holds, found.verdict) == ([], "CONTINUE")


def test_healthy_stations_give_no_finding(store: Store) -> None:
    told(store, moved_mpa=0.0, station_drift_mpa=0.25)
    found = evaluation_of(store)
    assert (found.station_drifts, "STATION_DRIFT" in found.marks) == ([], False)


def test_without_a_limit_nothing_is_watched_and_no_hour_is_read(store: Store) -> None:
    told(store, moved_mpa=MOVED_MPA)
    found = evaluation_of(store)
    assert (found.station_drifts, "STATION_DRIFT" in found.marks) == ([], False)
    lot_id = lot_id_of(store)
    units = store.read_now(lambda db: evidence_of(db, read_lot(db, lot_id), keep=False))
    assert [stretch.hours for unit in units for stretch in unit.stretches] == [[]] * 4


def test_kept_findings_and_those_computed_anew_agree(store: Store) -> None:
    told(store, moved_mpa=MOVED_MPA, station_drift_mpa=0.25)
    lot_id = lot_id_of(store)
    kept = store.write_now(lambda db: evaluate(db, lot_id, keep=True))
    store.write_now(memos.forget_all)
    assert msgspec.json.encode(evaluation_of(store)) == msgspec.json.encode(kept)


def test_the_limit_may_not_be_nothing(store: Store) -> None:
    with pytest.raises(msgspec.ValidationError):
        approved(store, reduction={"station_drift_mpa": 0})
