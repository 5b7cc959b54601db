"""A run's shape keeps its promises: what counts, what does not, and how it ends."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from service.demo.run_shapes import run_shape


@given(
    seed=st.integers(0, 10_000),
    need=st.integers(1, 30_000),
    most_rows=st.none() | st.integers(0, 30_000),
    cold=st.booleans(),
    scale=st.sampled_from([0.02, 0.05, 0.3, 1.0]),
)
def test_a_run_never_ends_within_a_burst_and_never_passes_its_goal(
    seed: int, need: int, most_rows: int | None, cold: bool, scale: float
) -> None:
    shape = run_shape(
        np.random.default_rng(seed), need=need, most_rows=most_rows, cold=cold, scale=scale
    )
    if shape is None:
        assert most_rows is not None
        return
    assert 0 < shape.counted_cycles <= need
    assert most_rows is None or shape.row_count <= most_rows
    assert most_rows is not None or shape.counted_cycles == need
    ends = [first + length for first, length in shape.short_bursts]
    starts = [first for first, _ in shape.short_bursts]
    assert all(end + 20 <= shape.row_count for end in ends)
    assert all(start >= shape.cold_rows for start in starts)
    assert all(end < start for end, start in zip(ends, starts[1:], strict=False))


def test_a_cold_start_is_cold_for_700_to_1400_cycles() -> None:
    for seed in range(50):
        shape = run_shape(
            np.random.default_rng(seed), need=20_000, most_rows=None, cold=True, scale=1.0
        )
        assert shape is not None and 700 <= shape.cold_rows <= 1_400


def test_about_six_in_a_thousand_cycles_fall_short_of_pressure() -> None:
    rng = np.random.default_rng(3)
    shapes = [run_shape(rng, need=25_000, most_rows=None, cold=False, scale=1.0) for _ in range(40)]
    rows = sum(shape.row_count for shape in shapes if shape)
    counted = sum(shape.counted_cycles for shape in shapes if shape)
    assert 0.005 < 1 - counted / rows < 0.007
