"""Leak onset of a unit out of its stretches."""

import pytest
from blocks_by_hand import onset_spec, ramp, run_of
from msgspec import structs
from reduction_builders import spec

from analysis.reduction.unit_onset import onset_settings, unit_onset

LEAKING = ramp(100, onset=6_020, growth_mpa_per_1000=0.1)
SPEC = onset_spec(fails=False)


def test_a_specification_that_asks_for_no_search_gets_none() -> None:
    assert unit_onset([run_of(LEAKING)], spec(), 10_000) is None
    assert unit_onset([], SPEC, 0) is None


@pytest.mark.parametrize("name", ["dead_band_mpa", "alarm_mpa"])
def test_settings_that_would_find_an_onset_in_every_unit_are_not_applied(name: str) -> None:
    assert SPEC.reduction.onset is not None
    bad = structs.replace(SPEC.reduction.onset, **{name: 0.0})
    chosen = structs.replace(SPEC, reduction=structs.replace(SPEC.reduction, onset=bad))
    assert onset_settings(chosen) is None
    assert unit_onset([run_of(LEAKING)], chosen, 10_000) is None


def test_a_stop_changes_nothing() -> None:
    whole = unit_onset([run_of(LEAKING)], SPEC, 10_000)
    parts = [run_of(LEAKING[:40], key=1), run_of(LEAKING[40:], key=2, hour=5)]
    found = unit_onset(parts, SPEC, 10_000)
    assert whole is not None
    assert found is not None
    assert (found.low_cycles, found.high_cycles) == (whole.low_cycles, whole.high_cycles)
    assert whole.low_cycles is not None
    assert whole.high_cycles is not None
    assert whole.low_cycles < 6_020 <= whole.high_cycles
    # Three blocks begin within 300 cycles of each start.
    assert (whole.blocks_left_out, found.blocks_left_out) == (3, 6)


def test_the_bracket_ends_no_later_than_what_is_read() -> None:
    found = unit_onset([run_of(LEAKING)], SPEC, 6_650)
    assert found is not None
    assert found.state == "ONSET"
    assert found.judged_to == 6_650
    assert unit_onset([run_of(LEAKING)], SPEC, 6_000) is not None
    earlier = unit_onset([run_of(LEAKING)], SPEC, 6_000)
    assert earlier is not None
    assert earlier.state == "NO_ONSET"


@pytest.mark.parametrize(("block", "widened"), [(30, 0), (61, 400), (80, 0)])
def test_only_rows_that_lack_inside_the_bracket_widen_it(block: int, widened: int) -> None:
    without = unit_onset([run_of(LEAKING)], SPEC, 10_000)
    found = unit_onset([run_of(LEAKING, missing={block: 400})], SPEC, 10_000)
    assert without is not None
    assert found is not None
    assert without.high_cycles is not None
    assert found.low_cycles == without.low_cycles
    assert found.high_cycles == without.high_cycles + widened
