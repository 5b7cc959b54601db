"""A pressure in the wrong unit is noticed, by the row's set pressure or the specification's."""

from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from parquet_files import Columns, cycle_columns, without
from uploads_by_hand import upload

from service.errors import UploadRefused
from service.storage.store import Store


def columns(peak: float, setting: float | None, row_count: int = 21, **more: Any) -> Columns:
    made = without(cycle_columns(row_count), "pressure_peak_bar")
    made["pressure_peak_mpa"] = pa.array(np.full(row_count, peak))
    if setting is not None:
        made["pressure_set_mpa"] = pa.array(np.full(row_count, setting))
    return {**made, **more}


def refused_code(store: Store, made: Columns, spec: float | None = None) -> str | None:
    try:
        upload(store, made, set_pressures={} if spec is None else {"CC25-0117": spec})
    except UploadRefused as refused:
        return refused.findings[0].code
    return None


@pytest.mark.parametrize("factor", [0.1, 10, 14.5, 145, 1 / 14.5, 1 / 145])
@pytest.mark.parametrize("off", [0.951, 1.0, 1.049])
def test_a_ratio_near_the_factor_between_two_units_is_refused(
    store: Store, factor: float, off: float
) -> None:
    assert refused_code(store, columns(43.7 * factor * off, 43.7)) == "PRESSURE_UNIT_IMPLAUSIBLE"


@pytest.mark.parametrize("ratio", [0.09, 0.12, 0.5, 1.0, 2.0, 3.0, 9.4, 10.6, 30.0])
def test_any_other_ratio_is_taken(store: Store, ratio: float) -> None:
    assert refused_code(store, columns(43.7 * ratio, 43.7)) is None


def test_the_median_decides_and_not_the_mean(store: Store) -> None:
    few = np.where(np.arange(21) < 10, 437.0, 43.7)
    most = np.where(np.arange(21) < 11, 437.0, 43.7)
    assert refused_code(store, columns(0, 43.7, pressure_peak_mpa=pa.array(few))) is None
    code = refused_code(store, columns(0, 43.7, pressure_peak_mpa=pa.array(most)))
    assert code == "PRESSURE_UNIT_IMPLAUSIBLE"


def test_the_specification_stands_in_where_no_row_has_a_set_pressure(store: Store) -> None:
    empty = pa.array([None] * 21, pa.float64())
    for made in (columns(437.0, None), columns(437.0, None, pressure_set_mpa=empty)):
        assert refused_code(store, made, spec=43.7) == "PRESSURE_UNIT_IMPLAUSIBLE"
    zeros = columns(437.0, 0.0)
    assert refused_code(store, zeros, spec=43.7) == "PRESSURE_UNIT_IMPLAUSIBLE"


def test_without_any_set_pressure_there_is_nothing_to_compare(store: Store) -> None:
    assert refused_code(store, columns(437.0, None)) is None


def test_each_lot_is_compared_on_its_own(store: Store) -> None:
    lots = pa.array(["CC25-0118"] * 15 + ["CC25-0117"] * 6)
    peaks = pa.array([43.7] * 15 + [437.0] * 6)
    made = columns(0, 43.7, lot_number=lots, pressure_peak_mpa=peaks)
    with pytest.raises(UploadRefused) as refused:
        upload(store, made)
    assert "CC25-0117" in refused.value.findings[0].detail


def test_both_columns_are_compared_in_one_unit(store: Store) -> None:
    made = without(columns(43.7, None), "pressure_peak_mpa")
    made["pressure_peak_psi"] = pa.array(np.full(21, 6_338.0))
    made["pressure_set_bar"] = pa.array(np.full(21, 437.0))
    assert refused_code(store, made) is None
