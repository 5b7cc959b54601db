"""However few columns tell the stretches apart, every row finds its own key."""

from typing import Any

import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st
from parquet_files import cycle_columns
from uploads_by_hand import rows_of, upload

from service.storage.arrivals_keys import STRETCH_COLUMNS
from service.storage.arrivals_routes import identifying_columns
from service.storage.store import Store

NAMES = st.tuples(
    st.sampled_from(["RIG-A", "RIG-B"]),
    st.sampled_from(["1", "2"]),
    st.integers(1, 3),
    st.sampled_from(["L1", "L2"]),
    st.sampled_from(["001", "002"]),
)


@given(st.lists(NAMES, min_size=1, unique=True))
def test_the_chosen_columns_tell_all_stretches_apart_and_none_of_them_is_idle(
    stretches: list[tuple[str, str, int, str, str]],
) -> None:
    chosen = identifying_columns(stretches)
    assert values_apart(stretches, chosen) == len(stretches)
    for idle in chosen:
        fewer = [name for name in chosen if name != idle]
        assert values_apart(stretches, fewer) < len(stretches)


def values_apart(stretches: list[Any], columns: Any) -> int:
    indices = [STRETCH_COLUMNS.index(name) for name in columns]
    return len({tuple(name[index] for index in indices) for name in stretches})


@pytest.mark.parametrize("text_count", [1, 2, 16, 17, 20])
def test_texts_find_their_keys_however_many_there_are(store: Store, text_count: int) -> None:
    stops = [f"stop {number % text_count}" if number % 3 else None for number in range(60)]
    sensors = ["PT-1"] * 30 + ["PT-2"] * 30
    serials = ["001"] * 30 + ["002"] * 30
    upload(
        store,
        cycle_columns(
            60,
            unit_serial=pa.array(serials),
            sensor_id=pa.array(sensors),
            stop_reason=pa.array(stops),
        ),
    )
    rows = rows_of(
        store,
        "SELECT c.cycle_in_run, u.unit_serial, s.text, p.text FROM cycle_rows AS c "
        "JOIN stretch_bases AS b USING (stretch_key) JOIN units AS u USING (unit_key) "
        "JOIN texts AS s ON s.text_key = c.sensor_key "
        "LEFT JOIN texts AS p ON p.text_key = c.stop_reason_key ORDER BY 1",
    )
    assert rows == list(zip(range(1, 61), serials, sensors, stops, strict=True))


def test_dictionary_and_plain_texts_give_the_same_rows(store: Store) -> None:
    plain = cycle_columns(40, stop_reason=pa.array([None, "A"] * 20))
    upload(store, plain)
    encoded = {
        name: values.dictionary_encode() if pa.types.is_string(values.type) else values
        for name, values in plain.items()
    }
    again = upload(store, encoded | {"x_note": pa.array([1] * 40)}).receipt
    assert again.duplicate_rows == 40
