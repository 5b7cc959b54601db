"""Whole uploads: refusals leave nothing, the same bytes add nothing, tallies add up."""

import json
import subprocess
import sys
import threading
from datetime import timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from bad_files import BAD_FILES, BadFile
from msgspec.structs import replace
from parquet_files import START, cycle_columns, life_columns, parquet_bytes, without
from uploads_by_hand import LIMITS, fact_counts, rows_of, upload

from schemas.lots import NewLot
from service.errors import UploadRefused
from service.storage.facts import Stamp
from service.storage.identifiers import opaque_id
from service.storage.lots import add_lot, register_lot
from service.storage.originals import original_path
from service.storage.store import Store


@pytest.mark.parametrize("bad", BAD_FILES.values(), ids=BAD_FILES.keys())
def test_a_bad_file_is_refused_with_its_own_code_and_leaves_nothing(
    store: Store, bad: BadFile
) -> None:
    upload(store, cycle_columns(5, run_id=pa.array(["another run"] * 5)))
    before = fact_counts(store)
    with pytest.raises(UploadRefused) as refused:
        upload(store, bad.make(), limits=replace(LIMITS, **bad.limits))
    finding = refused.value.findings[0]
    assert (bad.code, bad.column) == (finding.code, finding.column)
    assert len(finding.detail) > 30  # says what is wrong and what to do
    assert before == fact_counts(store)
    assert list(store.spool_folder.iterdir()) == []
    assert len(list(store.originals_folder.rglob("*.parquet"))) == 1
    # The store still takes what is good.
    assert upload(store, cycle_columns()).receipt.stored_rows == 20


def test_no_bad_file_ends_the_process(tmp_path: Path) -> None:
    program = """
import json, sys
from pathlib import Path
from bad_files import BAD_FILES
from msgspec.structs import replace
from stores import open_store
from uploads_by_hand import LIMITS, upload
from service.errors import UploadRefused
store = open_store(Path(sys.argv[1]))
codes = {}
for name, bad in BAD_FILES.items():
    if bad.risky:
        try:
            upload(store, bad.make(), limits=replace(LIMITS, **bad.limits))
        except UploadRefused as refused:
            codes[name] = refused.findings[0].code
store.close()
print(json.dumps(codes))
"""
    finished = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path / "data")],
        capture_output=True,
        text=True,
        check=False,
        env={"PYTHONPATH": ":".join(sys.path)},
    )
    assert finished.returncode == 0, finished.stderr
    expected = {name: bad.code for name, bad in BAD_FILES.items() if bad.risky}
    assert expected == json.loads(finished.stdout)


def test_a_refusal_names_up_to_ten_rows_and_says_how_many_there_are(store: Store) -> None:
    peaks = pa.array([float("nan")] * 12 + [437.0] * 8)
    with pytest.raises(UploadRefused) as refused:
        upload(store, cycle_columns(pressure_peak_bar=peaks))
    finding = refused.value.findings[0]
    assert list(range(1, 11)) == finding.rows
    assert finding.row_count == 12


def test_all_faults_of_a_table_are_told_at_once(store: Store) -> None:
    columns = cycle_columns(
        pressure_peak_bar=pa.array([float("nan")] + [437.0] * 19),
        cycle_in_run=pa.array([-3, *range(2, 21)]),
        rig_id=pa.array(["x" * 300] * 20),
    )
    with pytest.raises(UploadRefused) as refused:
        upload(store, columns)
    codes = {finding.code for finding in refused.value.findings}
    assert {"NOT_A_NUMBER", "COUNTER_OUT_OF_RANGE", "STRING_TOO_LONG"} == codes


def test_the_same_bytes_again_give_the_first_receipt_and_add_nothing(store: Store) -> None:
    file = parquet_bytes(cycle_columns())
    first = upload(store, file)
    before = fact_counts(store)
    second = upload(store, file)
    assert (first.is_new, second.is_new) == (True, False)
    assert first.receipt == second.receipt
    assert first.upload_key == second.upload_key
    assert before == fact_counts(store)


def test_of_two_equal_uploads_at_once_one_is_stored(store: Store) -> None:
    file = parquet_bytes(cycle_columns(2_000))
    arrived = []
    threads = [
        threading.Thread(target=lambda: arrived.append(upload(store, file))) for _ in range(2)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(each.is_new for each in arrived) == [False, True]
    assert arrived[0].receipt == arrived[1].receipt
    assert rows_of(store, "SELECT count(*) FROM cycle_rows") == [(2_000,)]


def test_the_original_is_kept_byte_by_byte(store: Store) -> None:
    file = parquet_bytes(cycle_columns())
    sha256 = upload(store, file).receipt.sha256
    assert file == original_path(store.originals_folder, sha256).read_bytes()


def test_a_receipt_has_the_tallies_of_each_lot(store: Store) -> None:
    body = NewLot(lot_number="CC25-0118", part_number="CC25")
    stamp = Stamp(at=START, by="Test bench")
    store.write_now(lambda db: register_lot(db, add_lot(db, "CC25-0118", START), body, stamp))
    lots = ["CC25-0117"] * 6 + ["CC25-0118"] * 14
    serials = ["1"] * 3 + ["2"] * 3 + ["1"] * 14
    arrived = upload(store, cycle_columns(lot_number=pa.array(lots), unit_serial=pa.array(serials)))
    one, other = arrived.receipt.lots
    assert (
        one.lot_number,
        one.state,
        one.unit_count,
        one.row_count,
        one.stored_rows,
    ) == ("CC25-0117", "UNREGISTERED", 2, 6, 6)
    assert (
        other.lot_number,
        other.state,
        other.unit_count,
        other.row_count,
    ) == ("CC25-0118", "REGISTERED", 1, 14)
    assert arrived.receipt.row_count == 20
    assert (
        len(arrived.lot_keys),
        len(arrived.unit_keys),
        len(arrived.stretch_keys),
    ) == (2, 3, 3)


def test_names_of_lots_units_and_uploads_follow_from_what_they_name(tmp_path: Path) -> None:
    found = []
    for name in ("one", "two"):
        store = Store.open(tmp_path / name, memory_limit="200MB", threads=1)
        arrived = upload(store, cycle_columns())
        found.append(
            (
                arrived.receipt.upload_id,
                rows_of(store, "SELECT lot_id FROM lots"),
                rows_of(store, "SELECT unit_id FROM units"),
            )
        )
        store.close()
    assert found[0] == found[1]
    assert [(opaque_id("lot", "CC25-0117"),)] == found[0][1]


def test_a_kill_before_the_commit_leaves_no_row_and_no_receipt(tmp_path: Path) -> None:
    program = """
import os, sys
from pathlib import Path
from parquet_files import cycle_columns
from stores import open_store
from uploads_by_hand import upload
import service.storage.arrivals as arrivals
store = open_store(Path(sys.argv[1]))
upload(store, cycle_columns(10))
keep = arrivals.keep_original
def keep_and_die(*arguments):
    keep(*arguments)
    os.kill(os.getpid(), 9)
arrivals.keep_original = keep_and_die
upload(store, cycle_columns(50_000))
"""
    data = tmp_path / "data"
    killed = subprocess.run(
        [sys.executable, "-c", program, str(data)],
        capture_output=True,
        check=False,
        env={"PYTHONPATH": ":".join(sys.path)},
    )
    assert killed.returncode == -9
    store = Store.open(data, memory_limit="200MB", threads=1)
    assert rows_of(store, "SELECT count(*) FROM cycle_rows") == [(10,)]
    assert rows_of(store, "SELECT count(*) FROM uploads") == [(1,)]
    arrived = upload(store, cycle_columns(50_000))
    assert (
        arrived.is_new,
        arrived.receipt.stored_rows,
        arrived.receipt.duplicate_rows,
    ) == (True, 49_990, 10)
    store.close()


def test_lives_and_cycles_are_told_apart_by_their_columns(store: Store) -> None:
    assert [
        upload(store, columns).receipt.table for columns in (cycle_columns(), life_columns())
    ] == ["CYCLES", "LIVES"]


def test_a_counter_may_be_zero_just_after_it_was_full(store: Store) -> None:
    counter = pa.array([65_533, 65_534, 65_535, 0, 1, 2])
    assert upload(store, cycle_columns(6, cycle_in_run=counter)).receipt.stored_rows == 6


def test_the_cycle_before_a_zero_may_have_come_in_an_earlier_upload(store: Store) -> None:
    upload(store, cycle_columns(2, cycle_in_run=pa.array([2**32 - 2, 2**32 - 1])))
    later = pa.array(
        [START + timedelta(seconds=100 + number) for number in range(2)],
        pa.timestamp("us", tz="UTC"),
    )
    columns = cycle_columns(2, cycle_in_run=pa.array([0, 1]), started_at=later)
    assert upload(store, columns).receipt.stored_rows == 2


def test_set_pressures_of_the_specification_show_a_wrong_unit(store: Store) -> None:
    columns = without(
        cycle_columns(pressure_peak_mpa=pa.array(np.full(20, 437.0))), "pressure_peak_bar"
    )
    with pytest.raises(UploadRefused) as refused:
        upload(store, columns, set_pressures={"CC25-0117": 43.7})
    assert refused.value.findings[0].code == "PRESSURE_UNIT_IMPLAUSIBLE"
