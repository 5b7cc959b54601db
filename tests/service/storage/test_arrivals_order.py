"""Zero is a count only where a counter has just run over."""

from datetime import timedelta

import pyarrow as pa
import pytest
from parquet_files import START, Columns, cycle_columns
from uploads_by_hand import upload

from service.errors import UploadRefused
from service.storage.store import Store


def counted(counter: list[int], seconds: list[int] | None = None, run: str = "A") -> Columns:
    starts = [START + timedelta(seconds=s) for s in seconds or range(len(counter))]
    return cycle_columns(
        len(counter),
        cycle_in_run=pa.array(counter),
        started_at=pa.array(starts, pa.timestamp("us", tz="UTC")),
        run_id=pa.array([run] * len(counter)),
    )


@pytest.mark.parametrize(
    "counter",
    [
        [65_534, 65_535, 0, 1],
        [4_294_967_295, 0],
        [65_535, 0, 1, 65_535, 0],
    ],
)
def test_zero_after_the_largest_count_is_taken(store: Store, counter: list[int]) -> None:
    assert upload(store, counted(counter)).receipt.stored_rows == len(counter)


def test_rows_may_stand_in_any_order(store: Store) -> None:
    assert upload(store, counted([1, 0, 65_535], [9, 6, 3])).receipt.stored_rows == 3


def test_a_clock_that_ticks_slower_than_the_cycles_is_no_obstacle(store: Store) -> None:
    columns = counted([65_534, 65_535, 0, 1, 2], [3, 3, 3, 3, 4])
    assert upload(store, columns).receipt.stored_rows == 5


@pytest.mark.parametrize(
    "counter", [[0, 1, 2], [65_534, 0, 1], [65_535, 1, 0], [65_536, 0], [5, 6, 0]]
)
def test_any_other_zero_is_refused_with_its_row(store: Store, counter: list[int]) -> None:
    with pytest.raises(UploadRefused) as refused:
        upload(store, counted(counter))
    (finding,) = refused.value.findings
    assert (finding.code, finding.column) == ("COUNTER_OUT_OF_RANGE", "cycle_in_run")
    assert (finding.rows, finding.row_count) == ([counter.index(0) + 1], 1)


def test_another_run_does_not_make_a_zero_good(store: Store) -> None:
    upload(store, counted([65_535], [0], run="A"))
    with pytest.raises(UploadRefused):
        upload(store, counted([0], [3], run="B"))
    assert upload(store, counted([0], [3], run="A")).receipt.stored_rows == 1


def test_a_zero_that_was_taken_may_be_sent_again(store: Store) -> None:
    upload(store, counted([65_535, 0, 1]))
    again = counted([65_535, 0, 1]) | {"x_note": pa.array([1, 2, 3])}
    assert upload(store, again).receipt.duplicate_rows == 3
