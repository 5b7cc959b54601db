"""Duplicates and conflicts, against a slow reference that looks at one row after another."""

from __future__ import annotations

import math
import tempfile
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from parquet_files import START, cycle_columns, table_bytes, without
from stores import open_store
from uploads_by_hand import rows_of, upload

from service.errors import UploadRefused
from service.storage.arrivals_repeats import MOST_VERSIONS
from service.storage.store import Store

Row = dict[str, Any]


@dataclass
class Reference:
    """What was received, in order; a row is compared with all before it."""

    stored: list[Row] = field(default_factory=list)
    received: list[Row] = field(default_factory=list)

    def take(self, rows: list[Row]) -> tuple[int, int, int]:
        """Stored, duplicate and conflicting rows of one upload."""
        stored = duplicate = conflicting = 0
        for row in rows:
            before = [other for other in self.received if identity(other) == identity(row)]
            if not before:
                stored += 1
                self.stored.append(row)
            elif any(same_values(other, row) for other in before):
                duplicate += 1
            else:
                conflicting += 1
            self.received.append(row)
        return stored, duplicate, conflicting


def identity(row: Row) -> tuple[Any, ...]:
    return (row["run"], row["counter"], row["second"])


def same_values(one: Row, other: Row) -> bool:
    """Numbers to 1e-6 relative, the rest exactly; TEST is what an empty mode means."""
    return (
        same_number(one["peak"], other["peak"])
        and same_number(one["low"], other["low"])
        and (one["mode"] or "TEST") == (other["mode"] or "TEST")
        and (one["stop"] or None) == (other["stop"] or None)
    )


def same_number(one: float | None, other: float | None) -> bool:
    first, second = (math.nan if value is None else value for value in (one, other))
    if math.isnan(first) or math.isnan(second):
        return math.isnan(first) and math.isnan(second)
    return math.isclose(first, second, rel_tol=1e-6)


def as_table(rows: list[Row]) -> pa.Table:
    """The rows as a sender would write them, in MPa."""
    columns = without(cycle_columns(len(rows)), "pressure_peak_bar")
    columns |= {
        "run_id": pa.array([row["run"] for row in rows], pa.string()),
        "cycle_in_run": pa.array([row["counter"] for row in rows], pa.int64()),
        "started_at": pa.array(
            [START + timedelta(seconds=row["second"]) for row in rows],
            pa.timestamp("us", tz="UTC"),
        ),
        "pressure_peak_mpa": pa.array([row["peak"] for row in rows], pa.float64()),
        "pressure_low_mpa": pa.array([row["low"] for row in rows], pa.float64()),
        "station_mode": pa.array([row["mode"] for row in rows], pa.string()),
        "stop_reason": pa.array([row["stop"] for row in rows], pa.string()),
    }
    return pa.table(columns)


ROWS = st.fixed_dictionaries(
    {
        "run": st.sampled_from(["first", "second"]),
        "counter": st.integers(1, 4),
        "second": st.integers(0, 2),
        # 43.7 and its neighbour are one number, the third is another.
        "peak": st.sampled_from([43.7, 43.7 * (1 + 5e-7), 43.71]),
        "low": st.sampled_from([None, math.nan, 0.8]),
        "mode": st.sampled_from([None, "TEST", "WARM_UP"]),
        "stop": st.sampled_from([None, "", "TARGET_REACHED"]),
    }
)


@settings(max_examples=25)
@given(st.lists(st.lists(ROWS, min_size=1, max_size=12), min_size=1, max_size=3))
def test_every_row_is_stored_a_duplicate_or_conflicting_as_the_reference_says(
    uploads: list[list[Row]],
) -> None:
    reference = Reference()
    sent: set[bytes] = set()
    with tempfile.TemporaryDirectory() as folder:
        store = open_store(Path(folder))
        for rows in uploads:
            body = table_bytes(as_table(rows))
            if body in sent:
                continue
            sent.add(body)
            receipt = upload(store, body).receipt
            tallies = (receipt.stored_rows, receipt.duplicate_rows, receipt.conflicting_rows)
            assert reference.take(rows) == tallies
            assert receipt.row_count == len(rows) == sum(tallies)
            assert receipt.row_count == sum(lot.row_count for lot in receipt.lots)
        assert kept_rows(store) == sorted(
            (row["run"], row["counter"], row["second"], row["peak"]) for row in reference.stored
        )
        store.close()


def kept_rows(store: Store) -> list[tuple[Any, ...]]:
    """Run, counter, second and peak of every row that counts."""
    return rows_of(
        store,
        "SELECT b.run_id, c.cycle_in_run, "
        f"date_diff('second', TIMESTAMP '{START:%Y-%m-%d %H:%M:%S}', c.started_at), "
        "c.pressure_peak_mpa FROM cycle_rows AS c JOIN stretch_bases AS b USING (stretch_key) "
        "ORDER BY ALL",
    )


def row(counter: int, second: int, peak: float = 43.7, **more: Any) -> Row:
    return {
        "run": "first",
        "counter": counter,
        "second": second,
        "peak": peak,
        "low": None,
        "mode": None,
        "stop": None,
        **more,
    }


def tallies(store: Store, rows: list[Row]) -> tuple[int, int, int]:
    receipt = upload(store, table_bytes(as_table(rows))).receipt
    return receipt.stored_rows, receipt.duplicate_rows, receipt.conflicting_rows


def test_the_same_rows_in_another_order_and_encoding_are_duplicates(
    store: Store, rng: np.random.Generator
) -> None:
    table = as_table([row(number, 3 * number, peak=43.7 + number / 10) for number in range(1, 301)])
    assert upload(store, table_bytes(table)).receipt.stored_rows == 300
    shuffled = table.take(pa.array(rng.permutation(300))).select(table.column_names[::-1])
    bar = shuffled.set_column(
        shuffled.column_names.index("pressure_peak_mpa"),
        "pressure_peak_bar",
        pa.array(shuffled["pressure_peak_mpa"].to_numpy() * 10),
    )
    psi = shuffled.set_column(
        shuffled.column_names.index("pressure_peak_mpa"),
        "pressure_peak_psi",
        pa.array(shuffled["pressure_peak_mpa"].to_numpy() * 145.03773773),
    )
    for again in (
        table_bytes(shuffled),
        table_bytes(bar, compression="zstd"),
        table_bytes(psi, use_dictionary=False),
    ):
        receipt = upload(store, again).receipt
        assert (receipt.stored_rows, receipt.duplicate_rows) == (0, 300)
    assert rows_of(store, "SELECT count(*) FROM cycle_rows") == [(300,)]


def test_the_first_received_of_two_conflicting_rows_counts(store: Store) -> None:
    assert tallies(store, [row(1, 3), row(2, 6)]) == (2, 0, 0)
    assert tallies(store, [row(2, 6, peak=12.0), row(3, 9)]) == (1, 0, 1)
    peaks = rows_of(store, "SELECT pressure_peak_mpa FROM cycle_rows WHERE cycle_in_run = 2")
    assert peaks == [(43.7,)]
    kept = rows_of(store, "SELECT cycle_in_run, pressure_peak_mpa FROM conflicting_rows")
    assert kept == [(2, 12.0)]


def test_a_conflicting_row_sent_again_is_a_duplicate(store: Store) -> None:
    tallies(store, [row(1, 3)])
    tallies(store, [row(1, 3, peak=12.0)])
    assert tallies(store, [row(1, 3, peak=12.0), row(2, 6)]) == (1, 1, 0)
    assert rows_of(store, "SELECT count(*) FROM conflicting_rows") == [(1,)]


def test_the_same_counter_with_another_start_is_a_reset_and_no_conflict(store: Store) -> None:
    rows = [row(number, 3 * number) for number in range(1, 100)]
    after_reset = [row(number, 1_000 + 3 * number) for number in range(1, 100)]
    assert tallies(store, rows + after_reset) == (198, 0, 0)


def test_an_empty_mode_means_test_and_an_empty_thinning_means_one(store: Store) -> None:
    tallies(store, [row(1, 3, mode="TEST"), row(2, 6, mode="WARM_UP")])
    assert tallies(store, [row(1, 3, mode=None), row(2, 6, mode=None)]) == (0, 1, 1)
    thinned = as_table([row(1, 3)]).append_column("logged_every", pa.array([1], pa.int16()))
    assert upload(store, table_bytes(thinned)).receipt.duplicate_rows == 1


def test_a_run_split_over_uploads_is_the_run_in_one_upload(tmp_path: Path) -> None:
    rows = [row(number, 3 * number, peak=43.0 + number / 100) for number in range(1, 201)]
    found = []
    for name, parts in (("whole", [rows]), ("split", [rows[150:], rows[:80], rows[80:150]])):
        store = open_store(tmp_path / name)
        for part in parts:
            assert tallies(store, part) == (len(part), 0, 0)
        found.append(kept_rows(store))
        store.close()
    assert found[0] == found[1]


def test_stretches_are_compared_in_portions_without_a_difference(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = [
        row(number, 3 * number, run=run)
        for run in ("first", "second", "third")
        for number in range(1, 41)
    ]
    tallies(store, rows)
    monkeypatch.setattr("service.storage.arrivals_repeats.ROWS_AT_A_TIME", 50)
    changed = [{**each, "peak": 12.0} if each["counter"] == 7 else each for each in rows]
    assert tallies(store, changed) == (0, 117, 3)


def test_a_clock_and_counter_that_stand_still_are_refused(store: Store) -> None:
    rows = [row(1, 3, peak=40.0 + number) for number in range(MOST_VERSIONS + 1)]
    with pytest.raises(UploadRefused) as refused:
        tallies(store, rows)
    assert refused.value.findings[0].code == "ROWS_CONTRADICT"
    assert refused.value.findings[0].rows == list(range(1, 11))
    assert tallies(store, rows[:MOST_VERSIONS]) == (1, 0, MOST_VERSIONS - 1)
