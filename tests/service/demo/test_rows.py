"""The row model writes what the scenario says: values, sensor steps, the run to failure."""

from typing import Any

import numpy as np
import pytest

from service.demo.facts import LotPlan
from service.demo.lots import lot
from service.demo.rows import RunRows, run_rows
from service.demo.timetable import plan_lot


@pytest.fixture(scope="module")
def plan() -> LotPlan:
    return plan_lot(lot("L02"), scale=0.05)


def rows(plan: LotPlan, unit_no: int, run_no: int) -> RunRows:
    unit = plan.units[unit_no - 1]
    return run_rows(plan.facts, unit, unit.runs[run_no - 1])


def test_the_same_run_has_the_same_rows_every_time(plan: LotPlan) -> None:
    first, again = rows(plan, 3, 2), rows(plan, 3, 2)
    for name in ("true_us", "peak_steps", "decay_steps", "temperature_tenths"):
        assert np.array_equal(getattr(first, name), getattr(again, name))
    assert not np.array_equal(first.peak_steps[:50], rows(plan, 4, 2).peak_steps[:50])


def test_cycles_meant_to_count_are_inside_the_band_and_short_ones_below_it(plan: LotPlan) -> None:
    for unit in plan.units:
        for run in unit.runs:
            made = run_rows(plan.facts, unit, run)
            peak = made.peak_steps * 0.004
            assert ((peak[made.counts] >= 31.59) & (peak[made.counts] <= 34.91)).all()
            short = ~made.counts & ~made.in_warm_up
            assert (peak[short] < 31.59).all()
            assert int(made.counts.sum()) == run.counted_cycles


def test_peaks_and_decay_scatter_as_the_scenario_says() -> None:
    full = plan_lot(lot("L01"), scale=1.0)
    made = rows(full, 1, 3)
    late = made.counts & (np.arange(made.counts.size) > 2_000)
    spread = float(np.diff(made.peak_steps[late] * 0.004).std() / np.sqrt(2))
    assert spread == pytest.approx(0.18, rel=0.05)
    decay = made.decay_steps[late] * 0.004
    # Noise of 0.012 and the sensor's step of 0.004 (variance of rounding: a twelfth of its square).
    expected = np.hypot(0.012, 0.004 / np.sqrt(12))
    assert float(np.diff(decay).std() / np.sqrt(2)) == pytest.approx(expected, rel=0.05)
    assert float(decay.mean()) == pytest.approx(0.060, abs=0.025)


def test_five_cycles_over_the_limit_in_a_row_begin_exactly_at_the_failure(plan: LotPlan) -> None:
    unit = plan.units[8]
    decay: list[Any] = []
    for run in unit.runs:
        made = run_rows(plan.facts, unit, run)
        decay += (made.decay_steps[made.counts] * 0.004).tolist()
    over = [value > 0.602 for value in decay]
    first = next(i for i in range(len(over)) if all(over[i : i + 5]) and i + 5 <= len(over))
    assert first + 1 == unit.failed_at == 8_181
    assert len(over) == 8_185
    # Noise reaches the limit before: the failure is not told by the first cycle over it.
    assert any(over[:first])
    assert not any(abs(value - 0.600) < 0.001 for value in decay)


def test_the_counter_starts_again_where_it_was_reset() -> None:
    disturbed = plan_lot(lot("L06"), scale=0.05)
    unit = disturbed.units[1]
    run = next(run for run in unit.runs if run.reset_row)
    made = run_rows(disturbed.facts, unit, run)
    falls = np.flatnonzero(np.diff(made.cycle_in_run) < 0)
    assert falls.tolist() == [run.reset_row - 1]
    assert made.cycle_in_run[run.reset_row] == 1
    assert (np.diff(made.odometer) == 1).all()


def test_a_clock_that_is_set_back_moves_the_rest_of_the_run() -> None:
    disturbed = plan_lot(lot("L06"), scale=0.05)
    unit = disturbed.units[0]
    run = next(run for run in unit.runs if run.jump_row)
    made = run_rows(disturbed.facts, unit, run)
    shift = made.started_us - made.true_us
    assert set(shift[: run.jump_row].tolist()) == {0}
    assert set(shift[run.jump_row :].tolist()) == {-160_000_000}
    assert (np.diff(made.true_us) > 0).all()


def test_a_cold_start_is_out_of_the_temperature_band_and_in_its_own_mode(plan: LotPlan) -> None:
    made = rows(plan, 1, 1)
    assert made.in_warm_up[0] and made.temperature_tenths[0] < 370
    counted = made.temperature_tenths[made.counts]
    assert counted.min() >= 370 and counted.max() <= 530
