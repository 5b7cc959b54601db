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


def test_a_rig_that_does_not_preheat_tests_cold_until_the_fluid_is_in_the_band() -> None:
    bracketed = plan_lot(lot("L07"), scale=1.0)
    made = rows(bracketed, 1, 1)
    cold = made.run.cold_rows
    assert 700 <= cold <= 1_400
    assert not made.in_warm_up.any()
    assert made.temperature_tenths[:cold].max() < 370 <= made.temperature_tenths[cold:].min()
    assert not made.counts[:cold].any()
    # It goes on warming: at the edge of the band at first, at its temperature later.
    assert made.temperature_tenths[cold : cold + 50].mean() < 385
    assert 420 < made.temperature_tenths[cold + 6_000 :].mean() < 480


def test_after_a_start_decay_is_off_by_0_05_to_0_10_and_levels_out_over_240_cycles() -> None:
    full = plan_lot(lot("L01"), scale=1.0)
    excesses = []
    for unit in full.units:
        for run in unit.runs:
            # Warm starts well before the leak: what is left is the station's own constant.
            counted_after = run.counted_before + run.counted_cycles
            if run.cold_rows or run.row_count < 3_000 or unit.leak.onset_cycles < counted_after:
                continue
            decay = run_rows(full.facts, unit, run).decay_steps * 0.004
            # The excess at row r is a e^(-3 r / 240); its mean over the first 40 rows is 0.787 a.
            # The dip of 2.5 degC after a start takes another 0.005.
            settled = float(decay[1_000:3_000].mean())
            excesses.append((float(decay[:40].mean()) - settled) / 0.787 + 0.005)
            assert abs(float(decay[300:700].mean()) - settled) < 0.008
    sizes = np.abs(excesses)
    assert len(excesses) > 50
    assert sizes.min() > 0.04 and sizes.max() < 0.11
    assert 0.068 < sizes.mean() < 0.082
    assert 0.3 < float((np.array(excesses) > 0).mean()) < 0.7


def test_stations_of_a_supply_wander_together_and_those_of_another_do_not() -> None:
    full = plan_lot(lot("L01"), scale=1.0)

    def hourly(unit_no: int, run_no: int) -> dict[int, float]:
        made = rows(full, unit_no, run_no)
        hours = made.true_us // 3_600_000_000
        good = made.counts
        return {int(h): made.peak_steps[good & (hours == h)].mean() * 0.004 for h in set(hours)}

    def correlation(first: tuple[int, int], second: tuple[int, int]) -> float:
        one, other = hourly(*first), hourly(*second)
        common = sorted(one.keys() & other.keys())
        assert len(common) > 8
        return float(np.corrcoef([one[h] for h in common], [other[h] for h in common])[0, 1])

    assert correlation((1, 3), (2, 3)) > 0.9
    assert correlation((1, 3), (8, 3)) < 0.9


def test_a_unit_that_is_moved_has_another_baseline_by_0_010() -> None:
    bracketed = plan_lot(lot("L07"), scale=1.0)
    unit = bracketed.units[10]
    assert unit.leak.onset_cycles > 200_000
    means: dict[int, list[float]] = {}
    for run in unit.runs:
        made = run_rows(bracketed.facts, unit, run)
        # Temperature taken out, the restart left out: what is left is noise and the station.
        level = made.decay_steps * 0.004 - 0.002 * (made.temperature_tenths / 10 - 45.0)
        means.setdefault(run.station_no, []).append(float(level[1_000:].mean()))
    assert sorted(means) == [1, 5]
    step = np.mean(means[1]) - np.mean(means[5])
    assert abs(step) == pytest.approx(0.010, abs=0.0005)


def test_a_leak_that_comes_and_goes_is_there_at_its_onset_and_at_the_end() -> None:
    bracketed = plan_lot(lot("L07"), scale=1.0)
    unit = bracketed.units[9]
    assert unit.leak.off_spells
    counted, decay = [], []
    for run in unit.runs:
        made = run_rows(bracketed.facts, unit, run)
        at = run.counted_before + np.cumsum(made.counts)
        counted.append(at[made.counts])
        decay.append(made.decay_steps[made.counts] * 0.004)
    at, level = np.concatenate(counted), np.concatenate(decay)
    gone = np.zeros(at.size, dtype=bool)
    for first, last in unit.leak.off_spells:
        gone |= (at > first) & (at <= last)
    # 0.030 MPa per 1,000 cycles from 100,640 on: 0.54 MPa over 18,000 cycles.
    there = (at > 103_640) & ~gone
    assert abs(level[gone] - 0.060).max() < 0.15
    growth = np.polyfit(at[there] - 100_640, level[there], 1)[0] * 1_000
    assert growth == pytest.approx(0.030, rel=0.02)
    assert level[(at > 118_340) & (at < 118_640)].min() > 0.4


def test_rows_that_were_not_logged_leave_the_counters_going_on() -> None:
    bracketed = plan_lot(lot("L07"), scale=1.0)
    for unit in (bracketed.units[1], bracketed.units[8]):
        (run,) = [run for run in unit.runs if run.gap_rows]
        made = run_rows(bracketed.facts, unit, run)
        assert made.true_us.size == made.counts.size == run.row_count - 12_000
        (step,) = np.flatnonzero(np.diff(made.cycle_in_run) > 1)
        assert made.cycle_in_run[step + 1] - made.cycle_in_run[step] == 12_001
        assert made.odometer[step + 1] - made.odometer[step] == 12_001
