"""
Leak onset of a unit: made-up series with a known answer, properties, and simulated units.

The simulated ones are few and short here; the benchmark of leak onset has the full numbers.
"""

import numpy as np
import pytest
from blocks_by_hand import RULES, ramp, stretch_of
from hypothesis import given, settings
from hypothesis import strategies as st
from leak_simulation import SCENARIO_RULES, SimulatedUnit, simulated_units
from msgspec import structs

from analysis.errors import OutsideDomainError
from analysis.reduction.onset import leak_onset, onset_rules
from analysis.reduction.onset_blocks import StretchBlocks
from analysis.reduction.onset_change import BLOCKS_AFTER_ALARM
from schemas.onsets import OnsetFinding
from schemas.specs import OnsetSettings

NOISE = 0.0015  # of a median of 100 cycles with a noise of 0.012 MPa: 1.25 * 0.012 / 10
growths = st.sampled_from([0.02, 0.05, 0.1, 0.3, 1.0])
seeds = st.integers(0, 2**32 - 1)


def leaking_unit(seed: int, growth: float, *, blocks: int = 160) -> StretchBlocks:
    return stretch_of(ramp(blocks, onset=6_020, growth_mpa_per_1000=growth, noise=NOISE, seed=seed))


def bracket(found: OnsetFinding) -> tuple[int, int]:
    assert found.state == "ONSET"
    assert found.low_cycles is not None and found.high_cycles is not None
    return found.low_cycles, found.high_cycles


def test_the_low_end_is_pulled_back_by_dead_band_over_slope() -> None:
    # Growth 0.1 from 3,980. Baseline: blocks 2 to 32, cycles 201 to 3,200. Block 40 (middle
    # 4,050.5) shows 0.00705, block 41 0.01705: over the dead band. Dead band and two sensor
    # steps over the slope are 0.023 / 1e-4 = 230 cycles: 4,050.5 - 230 = 3,820.5.
    found = leak_onset([stretch_of(ramp(60, onset=3_980, growth_mpa_per_1000=0.1))], RULES)
    assert bracket(found) == (3_820, 4_300)
    assert found.slope_mpa_per_1000 == pytest.approx(0.1)
    assert found.evidence is not None and found.baseline is not None
    assert (found.evidence.clean_first_counted, found.evidence.clean_last_counted) == (4_001, 4_100)
    # Excess over the dead band 0.002, 0.012, 0.022, 0.032: the fourth block gives the alarm.
    assert found.evidence.alarm_last_counted == 4_500
    assert found.baseline.pressure_decay_mpa == pytest.approx(0.06)
    assert (found.baseline.first_counted, found.baseline.last_counted) == (201, 3_200)


def test_a_sound_unit_has_no_onset_up_to_its_last_block() -> None:
    found = leak_onset([stretch_of(np.full(50, 0.06))], RULES)
    assert (found.state, found.judged_to, found.low_cycles) == ("NO_ONSET", 5_000, None)


@pytest.mark.parametrize("count", [0, 1, 31])
def test_too_few_blocks_are_said_to_be_no_baseline(count: int) -> None:
    found = leak_onset([stretch_of(np.full(count, 0.06))], RULES)
    assert (found.state, found.reason) == ("NO_BASELINE", "TOO_FEW_BLOCKS")


@pytest.mark.parametrize("onset", [0, 500, 1_500, 2_500])
def test_growth_before_the_baseline_is_complete_is_no_baseline_and_never_no_onset(
    onset: int,
) -> None:
    decay = ramp(100, onset=onset, growth_mpa_per_1000=0.1, noise=NOISE, seed=1)
    found = leak_onset([stretch_of(decay)], RULES)
    assert (found.state, found.reason) == ("NO_BASELINE", "NOT_STEADY")


def test_decay_that_still_falls_during_the_baseline_is_not_steady() -> None:
    decay = np.where(np.arange(80) < 16, 0.10, 0.06)
    found = leak_onset([stretch_of(decay)], RULES)
    assert (found.state, found.reason) == ("NO_BASELINE", "NOT_STEADY")


@pytest.mark.parametrize("sign", [-1, 1])
def test_the_excess_after_every_start_trips_only_a_search_without_a_mask(sign: int) -> None:
    # 0.1 MPa with a time constant of 240 cycles, which leaves 0.023 in the first block read:
    # three times as slow as the scenario's, of which a twentieth is left after 240.
    run = 0.06 + sign * 0.1 * np.exp(-(100 * np.arange(40) + 50) / 240)
    runs = [stretch_of(run, counted_before=4_000 * k, since_start=1) for k in range(6)]
    assert leak_onset(runs, RULES).state == "NO_ONSET"
    unmasked = leak_onset(runs, structs.replace(RULES, masked_cycles=0))
    assert (unmasked.state == "ONSET") == (sign > 0)


def test_the_baseline_is_carried_over_a_stop() -> None:
    decay = ramp(90, onset=6_000, growth_mpa_per_1000=0.05)
    runs = [
        stretch_of(decay[:45]),
        stretch_of(decay[45:60], counted_before=4_500, since_start=1),
        stretch_of(decay[60:], counted_before=6_000, since_start=1),
    ]
    found = leak_onset(runs, RULES)
    low, high = bracket(found)
    assert low < 6_000 < high
    assert found.baseline is not None and found.baseline.last_counted == 3_200


@pytest.mark.parametrize("step", [-0.01, 0.01])
def test_a_step_of_the_baseline_at_a_move_is_no_onset(step: float) -> None:
    before = stretch_of(np.full(50, 0.06))
    for count in (10, 29, 30, 80):
        after = stretch_of(
            np.full(count, 0.06 + step), counted_before=5_000, place="RIG-B/2", since_start=1
        )
        assert leak_onset([before, after], RULES).state == "NO_ONSET"


@pytest.mark.parametrize("step", [-0.01, 0.01])
@pytest.mark.parametrize("onset", [4_700, 6_000, 12_000])
def test_onset_around_a_move_is_bracketed(step: float, onset: int) -> None:
    decay = ramp(200, onset=onset, growth_mpa_per_1000=0.05)
    runs = [
        stretch_of(decay[:50]),
        stretch_of(decay[50:] + step, counted_before=5_000, place="RIG-B/2", since_start=1),
    ]
    found = leak_onset(runs, RULES)
    low, high = bracket(found)
    assert low < onset <= high
    assert found.evidence is not None
    assert found.evidence.judged_against == ("OWN" if onset == 12_000 else "CARRIED")


def test_a_unit_that_comes_back_to_a_station_finds_its_baseline_there() -> None:
    decay = ramp(120, onset=9_000, growth_mpa_per_1000=0.1)
    runs = [
        stretch_of(decay[:50]),
        stretch_of(decay[50:70] + 0.01, counted_before=5_000, place="RIG-B/2"),
        stretch_of(decay[70:], counted_before=7_000),
    ]
    found = leak_onset(runs, RULES)
    low, high = bracket(found)
    assert low < 9_000 <= high
    assert found.place == "RIG-A/1"
    assert found.evidence is not None and found.evidence.judged_against == "OWN"


def test_two_steps_of_the_sensor_are_no_onset() -> None:
    decay = 0.06 + 0.004 * (np.arange(200) > 60) + 0.004 * (np.arange(200) > 120)
    assert leak_onset([stretch_of(decay)], RULES).state == "NO_ONSET"


@given(seed=seeds, growth=growths, shift=st.integers(1, 10**9))
@settings(max_examples=25, deadline=None)
def test_a_shift_of_all_cycle_numbers_shifts_the_bracket(
    seed: int, growth: float, shift: int
) -> None:
    stretch = leaking_unit(seed, growth)
    moved = structs.replace(
        stretch,
        first_counted=stretch.first_counted + shift,
        last_counted=stretch.last_counted + shift,
    )
    low, high = bracket(leak_onset([stretch], RULES))
    moved_low, moved_high = bracket(leak_onset([moved], RULES))
    assert moved_high == high + shift
    assert abs(moved_low - low - shift) <= 1  # rounded down to a whole cycle


@given(seed=seeds, growth=growths, offset=st.floats(-0.05, 50))
@settings(max_examples=25, deadline=None)
def test_a_constant_offset_of_decay_changes_nothing(
    seed: int, growth: float, offset: float
) -> None:
    stretch = leaking_unit(seed, growth)
    moved = structs.replace(stretch, decay_mpa=stretch.decay_mpa + offset)
    low, high = bracket(leak_onset([stretch], RULES))
    moved_low, moved_high = bracket(leak_onset([moved], RULES))
    assert moved_high == high
    assert abs(moved_low - low) <= 1


@given(seed=seeds, growth=growths, cut=st.integers(1, 159))
@settings(max_examples=25, deadline=None)
def test_a_stretch_cut_at_a_block_border_without_a_new_start_changes_nothing(
    seed: int, growth: float, cut: int
) -> None:
    whole = leaking_unit(seed, growth)
    assert leak_onset([_part(whole, 0, cut), _part(whole, cut, 160)], RULES) == leak_onset(
        [whole], RULES
    )


@given(seed=seeds, growth=growths, cut=st.integers(1, 150))
@settings(max_examples=25, deadline=None)
def test_a_new_start_at_a_block_border_changes_nothing_beyond_the_mask(
    seed: int, growth: float, cut: int
) -> None:
    whole = leaking_unit(seed, growth)
    rest = _part(whole, cut, 160)
    restarted = structs.replace(rest, cycles_since_start=100 * np.arange(160 - cut) + 1)
    found = leak_onset([_part(whole, 0, cut), restarted], RULES)
    without = leak_onset([_part(whole, 0, cut), _part(whole, cut + 3, 160)], RULES)
    assert found == structs.replace(without, blocks_left_out=3)


@given(seed=seeds, growth=growths, more=st.integers(1, 200))
@settings(max_examples=25, deadline=None)
def test_blocks_long_after_the_alarm_change_nothing(seed: int, growth: float, more: int) -> None:
    whole = leaking_unit(seed, growth, blocks=500)
    found = leak_onset([whole], RULES)
    assert found.evidence is not None
    settled = found.evidence.alarm_last_counted // 100 + BLOCKS_AFTER_ALARM
    for count in (settled, settled + more):
        part = leak_onset([_part(whole, 0, count)], RULES)
        assert structs.replace(part, blocks_read=500, judged_to=50_000) == found


@given(seed=seeds, growth=growths)
@settings(max_examples=25, deadline=None)
def test_blocks_right_after_the_alarm_sharpen_the_low_end_and_leave_the_rest(
    seed: int, growth: float
) -> None:
    whole = leaking_unit(seed, growth)
    found = leak_onset([whole], RULES)
    assert found.evidence is not None
    first = leak_onset([_part(whole, 0, found.evidence.alarm_last_counted // 100)], RULES)
    assert bracket(first)[1] == bracket(found)[1]
    # Fewer blocks leave more doubt: the low end may lie lower, but hardly higher.
    assert bracket(first)[0] - bracket(found)[0] <= 100 + 0.02 / (growth / 1_000)


@given(seed=seeds)
@settings(max_examples=25, deadline=None)
def test_growth_too_slow_to_matter_is_still_found_once_it_has_grown(seed: int) -> None:
    low, high = bracket(leak_onset([leaking_unit(seed, 0.005, blocks=200)], RULES))
    assert low < 6_020 <= high


def test_rules_come_from_the_settings_of_a_specification() -> None:
    rules = onset_rules(
        OnsetSettings(
            block_cycles=100,
            baseline_blocks=[20, 220],
            mask_after_start_cycles=300,
            dead_band_mpa=0.015,
            alarm_mpa=0.05,
            station_step_mpa=0.01,
            sensor_step_mpa=0.004,
        )
    )
    assert rules == SCENARIO_RULES


def test_a_baseline_that_ends_before_it_begins_is_refused() -> None:
    backwards = OnsetSettings(
        block_cycles=100,
        baseline_blocks=[220, 20],
        mask_after_start_cycles=300,
        dead_band_mpa=0.015,
        alarm_mpa=0.05,
    )
    with pytest.raises(OutsideDomainError, match="baseline_blocks"):
        onset_rules(backwards)


def _part(stretch: StretchBlocks, first: int, end: int) -> StretchBlocks:
    return structs.replace(
        stretch,
        **{
            name: getattr(stretch, name)[first:end]
            for name in stretch.__struct_fields__
            if name not in {"place", "temperature_c"}
        },
    )


def test_simulated_sound_units_raise_no_false_alarm() -> None:
    states = [_of(unit).state for unit in simulated_units("HEALTHY", 14, seed=900, planned=60_000)]
    assert states == ["NO_ONSET"] * 14


def test_simulated_leaks_of_every_growth_are_found_and_bracketed() -> None:
    for unit in simulated_units("LEAKING", 14, seed=901, planned=60_000):
        low, high = bracket(_of(unit))
        assert low < unit.onset_cycles <= high


def test_simulated_leaks_before_the_baseline_is_complete_get_no_answer() -> None:
    states = [_of(unit).state for unit in simulated_units("EARLY", 7, seed=902, planned=60_000)]
    assert states == ["NO_BASELINE"] * 7


@pytest.mark.slow
def test_full_lots_of_simulated_units_meet_the_goals() -> None:
    healthy = [_of(unit).state for unit in simulated_units("HEALTHY", 60, seed=903)]
    assert healthy.count("ONSET") <= 1
    leaking = simulated_units("LEAKING", 63, seed=904)
    inside = []
    for unit in leaking:
        low, high = bracket(_of(unit))
        inside.append(low < unit.onset_cycles <= high)
    assert np.mean(inside) >= 0.95


def _of(unit: SimulatedUnit) -> OnsetFinding:
    return leak_onset(unit.stretches, SCENARIO_RULES)
