"""Every row of an upload is accounted for once, under the specifications that hold now."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest
from bodies import failed, lives_table, run_outs
from lots_by_hand import (
    GOOD,
    HIGH,
    LOT,
    LOW,
    Rows,
    add_rows,
    approved,
    assign,
    register,
    run_rows,
    set_rig,
)
from uploads_by_hand import upload

from schemas.uploads import Upload, UploadFindings
from service.storage.store import Store
from service.workflows.upload_findings import account_for

WITHOUT_SPEC = "CC25-0118"


def findings(store: Store, receipt: Upload) -> UploadFindings:
    return store.read_now(lambda db: account_for(db, receipt))


def accounted(found: UploadFindings) -> int:
    """Rows in every drawer of the account."""
    return (
        found.counted_cycles
        + found.not_counted_cycles
        + found.duplicate_rows
        + found.conflicting_rows
        + found.without_spec_rows
    )


class Reference:
    """The account by hand: one row after another, each compared with all before it."""

    def __init__(self) -> None:
        self._seen: dict[tuple[Any, ...], list[float]] = {}

    def take(self, rows: Rows) -> Counter[str]:
        drawers: Counter[str] = Counter()
        for row in rows:
            identity = tuple(
                row[name]
                for name in ("rig_id", "run_id", "station_no", "lot_number", "unit_serial",
                             "cycle_in_run", "started_at")
            )  # fmt: skip
            before = self._seen.setdefault(identity, [])
            peak = row["pressure_peak_mpa"]
            drawers[self._drawer(row["lot_number"], peak, before)] += 1
            before.append(peak)
        return drawers

    @staticmethod
    def _drawer(lot_number: str, peak: float, before: list[float]) -> str:
        if before:
            return "duplicate" if peak in before else "conflicting"
        if lot_number == WITHOUT_SPEC:
            return "without_spec"
        return {LOW: "UNDER_PRESSURE", HIGH: "OVER_PRESSURE"}.get(peak, "counted")


@pytest.fixture
def with_spec(store: Store) -> Store:
    register(store)
    assign(store, approved(store))
    return store


def test_the_account_is_that_of_a_row_by_row_reference(with_spec: Store) -> None:
    first = [
        *run_rows("001", "run-1", [GOOD, LOW, GOOD, HIGH, LOW]),
        *run_rows("002", "run-1", [GOOD] * 3, station_no=2),
        *run_rows("901", "run-2", [GOOD, LOW], lot_number=WITHOUT_SPEC, hour=1),
    ]
    second = [
        # Two rows again, one that contradicts, two new ones; of the other lot one of each.
        *run_rows("001", "run-1", [GOOD, LOW, LOW, HIGH, LOW, GOOD, HIGH])[1:],
        *run_rows("901", "run-2", [GOOD, GOOD, GOOD], lot_number=WITHOUT_SPEC, hour=1),
    ]
    reference = Reference()
    for rows in (first, second):
        expected = reference.take(rows)
        found = findings(with_spec, add_rows(with_spec, rows))
        told = Counter(
            {
                "counted": found.counted_cycles,
                "duplicate": found.duplicate_rows,
                "conflicting": found.conflicting_rows,
                "without_spec": found.without_spec_rows,
                **found.not_counted_by,
            }
        )
        assert +told == expected
        assert found.row_count == len(rows) == accounted(found)
        assert found.not_counted_cycles == sum(found.not_counted_by.values())
        assert found.not_counted_cycles == sum(each.cycles for each in found.findings)


def test_repeats_within_one_upload_are_accounted_for_too(with_spec: Store) -> None:
    run = run_rows("001", "run-1", [GOOD, LOW, GOOD])
    rows = [*run, run[1], {**run[2], "pressure_peak_mpa": LOW}]
    found = findings(with_spec, add_rows(with_spec, rows))
    assert (found.row_count, accounted(found)) == (5, 5)
    assert (found.duplicate_rows, found.conflicting_rows) == (1, 1)
    assert (found.counted_cycles, found.not_counted_cycles) == (2, 1)


def test_a_later_upload_of_the_same_run_leaves_the_account_of_the_first(with_spec: Store) -> None:
    run = run_rows("001", "run-1", [GOOD, LOW, GOOD, GOOD])
    receipt = add_rows(with_spec, run[:2])
    before = findings(with_spec, receipt)
    add_rows(with_spec, run)
    assert findings(with_spec, receipt) == before
    assert (before.counted_cycles, before.not_counted_cycles) == (1, 1)


def test_an_upload_of_nothing_new_is_all_duplicates(with_spec: Store) -> None:
    rows = run_rows("001", "run-1", [GOOD, LOW])
    add_rows(with_spec, rows)
    found = findings(with_spec, add_rows(with_spec, rows, compression="gzip"))
    assert (found.duplicate_rows, accounted(found), found.row_count) == (2, 2, 2)
    assert found.findings == []


def test_the_account_follows_the_specification_that_the_lot_has_now(store: Store) -> None:
    receipt = add_rows(store, run_rows("001", "run-1", [GOOD, LOW, HIGH]))
    assert findings(store, receipt).without_spec_rows == 3
    version = approved(store)
    assign(store, version)
    assert findings(store, receipt).not_counted_by == {"OVER_PRESSURE": 1, "UNDER_PRESSURE": 1}
    wider = {"pressure_lower_mpa": 10.0, "pressure_upper_mpa": 34.91, "station_modes": ["TEST"]}
    assign(store, approved(store, "CC25-B", conditions=wider))
    found = findings(store, receipt)
    assert (found.counted_cycles, found.not_counted_by) == (2, {"OVER_PRESSURE": 1})


def test_a_finding_says_where_its_rows_stand(with_spec: Store) -> None:
    rows = [
        *run_rows("001", "run-1", [GOOD, LOW, GOOD, LOW]),
        *run_rows("002", "run-2", [LOW], rig_id="RIG-B", station_no=3),
    ]
    [finding] = findings(with_spec, add_rows(with_spec, rows)).findings
    assert (finding.lot_number, finding.reason, finding.cycles) == (LOT, "UNDER_PRESSURE", 3)
    told = {
        (each.rig_id, each.run_id, each.station_no, each.unit_serial): (
            each.first_cycle_in_run,
            each.last_cycle_in_run,
            each.cycles,
        )
        for each in finding.ranges
    }
    assert told == {
        ("RIG-A", "run-1", 1, "001"): (2, 4, 2),
        ("RIG-B", "run-2", 3, "002"): (1, 1, 1),
    }


def test_a_finding_names_ten_places_at_most_and_still_counts_all(with_spec: Store) -> None:
    rows = [
        row
        for number in range(12)
        for row in run_rows("001", f"run-{number:02}", [LOW, GOOD], hour=number)
    ]
    [finding] = findings(with_spec, add_rows(with_spec, rows)).findings
    assert (finding.cycles, len(finding.ranges)) == (12, 10)


def test_each_lot_is_judged_by_its_own_specification(with_spec: Store) -> None:
    register(with_spec, WITHOUT_SPEC)
    wider = {"pressure_lower_mpa": 10.0, "pressure_upper_mpa": 34.91, "station_modes": ["TEST"]}
    assign(with_spec, approved(with_spec, "CC25-B", conditions=wider), lot_number=WITHOUT_SPEC)
    rows = [
        *run_rows("001", "run-1", [LOW, HIGH]),
        *run_rows("901", "run-2", [LOW, HIGH], lot_number=WITHOUT_SPEC, hour=1),
    ]
    found = findings(with_spec, add_rows(with_spec, rows))
    assert {(each.lot_number, each.reason, each.cycles) for each in found.findings} == {
        (LOT, "UNDER_PRESSURE", 1),
        (LOT, "OVER_PRESSURE", 1),
        (WITHOUT_SPEC, "OVER_PRESSURE", 1),
    }
    assert (found.counted_cycles, accounted(found)) == (1, 4)


def test_each_station_is_judged_with_its_own_sensor(with_spec: Store) -> None:
    # A reading above one and a half times the full scale is none: 20 MPa x 1.5 = 30 MPa.
    set_rig(with_spec, sensors=[{"sensor_id": "S-1", "full_scale_mpa": 20.0, "station_no": 2}])
    rows = [
        *run_rows("001", "run-1", [GOOD] * 2),
        *run_rows("002", "run-1", [GOOD] * 3, station_no=2),
    ]
    found = findings(with_spec, add_rows(with_spec, rows))
    assert (found.counted_cycles, found.not_counted_by) == (2, {"NO_READING": 3})


def test_a_lives_table_has_no_cycles_to_account_for(with_spec: Store) -> None:
    receipt = upload(with_spec, lives_table([failed(LOT, "001", 9), *run_outs(LOT, ["002"])]))
    found = findings(with_spec, receipt.receipt)
    assert (found.row_count, accounted(found), found.findings) == (2, 0, [])
