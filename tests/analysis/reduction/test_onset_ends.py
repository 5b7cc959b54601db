"""Leak onset as the end of a life, and as what narrows a bracket."""

from typing import Any

import numpy as np
import pytest
from blocks_by_hand import onset_spec, ramp, run_of
from msgspec import structs
from reduction_builders import DECAY, FUNCTION, LEAK, evidence, failing, inspected, streak

from analysis.reduction.doubts import as_it_stands
from analysis.reduction.endings import LifeEnd
from analysis.reduction.lives import reduce_unit
from analysis.reduction.onset_ends import established_at
from schemas.specs import Spec
from schemas.unit_evidence import LocatedOnset

PLAN = {"planned_cycles": 10_000}
LEAKING = ramp(100, onset=6_020, growth_mpa_per_1000=0.1)
SOUND = np.full(100, 0.06)


def fails(*modes: dict[str, Any], **changes: Any) -> Spec:
    return onset_spec(*modes, fails=True, plan=PLAN, **changes)


def narrows(*modes: dict[str, Any]) -> Spec:
    return onset_spec(*modes, fails=False, plan=PLAN)


def bracket(end: LifeEnd) -> tuple[int, int]:
    assert end.ending == "FAILED_BETWEEN"
    assert end.cycles_low is not None
    assert end.cycles_high is not None
    return end.cycles_low, end.cycles_high


def test_the_bracket_of_onset_is_the_life_credited_at_its_low_end() -> None:
    end = as_it_stands(evidence(run_of(LEAKING)), fails())
    low, high = bracket(end)
    assert low < 6_020 <= high
    assert (end.credited_cycles, end.has_ended, end.marks) == (low, True, ("FAILED_BY_ONSET",))
    assert end.failure is not None
    assert (end.failure.seen_as, end.failure.cycle_in_run) == ("DECAY", high)
    assert (end.at_counted, end.at_logged) == (high, high)


def test_without_the_choice_onset_ends_no_life() -> None:
    end = as_it_stands(evidence(run_of(LEAKING)), narrows())
    assert (end.ending, end.cycles) == ("RUN_OUT", 10_000)


def test_onset_goes_before_the_crossing_of_the_limit() -> None:
    """Growth of 1.0 MPa per 1,000 crosses the limit after 540 cycles, within a few blocks."""
    decay = ramp(70, onset=6_020, growth_mpa_per_1000=1.0)
    found = streak(5, 6_561)
    run = structs.replace(run_of(decay), persistent=found, trailing=found)
    low, high = bracket(as_it_stands(evidence(run), fails()))
    assert low < 6_020 <= high < 6_561
    exact = as_it_stands(evidence(run), narrows())
    assert (exact.ending, exact.cycles) == ("FAILED", 6_561)


def test_what_comes_after_an_earlier_failure_is_no_onset() -> None:
    found = streak(5, 4_000)
    run = structs.replace(run_of(LEAKING), persistent=found)
    for chosen in (fails(), narrows()):
        end = as_it_stands(evidence(run), chosen)
        assert (end.ending, end.cycles) == ("FAILED", 4_000)
    life = reduce_unit(evidence(run), fails())
    assert life.onset.state == "NO_ONSET"  # type: ignore[union-attr]


def test_a_mode_that_does_not_count_makes_no_failure_of_onset() -> None:
    irrelevant = fails(DECAY | {"relevant": False}, FUNCTION)
    end = as_it_stands(evidence(run_of(LEAKING)), irrelevant)
    assert not end.failed


def test_a_critical_mode_makes_a_critical_failure_of_onset() -> None:
    end = as_it_stands(evidence(run_of(LEAKING)), fails(DECAY | {"critical": True}))
    assert end.is_critical


def test_the_cycles_up_to_onset_are_those_that_were_counted_there() -> None:
    known = evidence(run_of(LEAKING))
    end = as_it_stands(known, fails())
    place = established_at(known.stretches, end.at_counted)
    assert (place.counted_cycles, place.cycle_in_run) == (end.at_counted, end.at_counted)
    located = LocatedOnset(counted_cycles=end.at_counted, logged_cycles=7_777)
    again = as_it_stands(structs.replace(known, located_onset=located), fails())
    assert again.at_logged == 7_777
    elsewhere = structs.replace(located, counted_cycles=end.at_counted + 1)
    unknown = as_it_stands(structs.replace(known, located_onset=elsewhere), fails())
    assert unknown.at_logged == end.at_logged


@pytest.mark.parametrize("is_open", [True, False])
def test_a_unit_that_has_not_ended_is_verified_as_far_as_onset_was_judged(is_open: bool) -> None:
    """Blocks of 50 and more cycles are read: 7,040 counted, judged to 7,000."""
    run = run_of(SOUND[:70], stop=None)
    known = evidence(run, is_newest_on_station=is_open)
    longer = structs.replace(run, counted_cycles=7_040, logged_cycles=7_040)
    end = as_it_stands(structs.replace(known, stretches=[longer]), fails())
    assert end.ending == ("RUNNING" if is_open else "SUSPENDED")
    assert (end.at_counted, end.verified_cycles, end.credited_cycles) == (7_040, 7_000, 7_000)


def test_before_the_baseline_is_complete_a_unit_earns_nothing() -> None:
    end = as_it_stands(evidence(run_of(SOUND[:20]), is_newest_on_station=True), fails())
    assert (end.at_counted, end.credited_cycles) == (2_000, 0)
    plain = as_it_stands(evidence(run_of(SOUND[:20]), is_newest_on_station=True), narrows())
    assert plain.credited_cycles == 2_000


def test_onset_narrows_a_failure_found_at_an_inspection_in_a_mode_seen_as_decay() -> None:
    """The piston leaks inside: found by the function check at 9,000, clean at 3,000."""
    modes = (DECAY, FUNCTION)
    checks = [
        inspected(3_000, function_check="PASS"),
        inspected(9_000, function_check="FAIL", failure_mode="SEAL_DECAY"),
    ]
    end = as_it_stands(evidence(run_of(LEAKING), inspections=checks), narrows(*modes))
    low, high = bracket(end)
    assert 3_000 < low < 6_020
    assert (high, end.marks, end.credited_cycles) == (9_000, ("NARROWED_BY_ONSET",), low)


@pytest.mark.parametrize("mode", [None, "ROD_LEAK"])
def test_an_external_leak_is_not_narrowed(mode: str | None) -> None:
    """It hardly shows in the decay: what the trend says is about another leak, if any."""
    checks = [
        inspected(3_000, leak_class=0),
        inspected(9_000, leak_class=4, failure_mode=mode),
    ]
    end = as_it_stands(evidence(run_of(LEAKING), inspections=checks), narrows(DECAY, LEAK))
    assert bracket(end) == (3_000, 9_000)


def test_a_failure_in_missing_rows_keeps_its_bracket() -> None:
    """It begins at the last counted cycle: no cycle in it has a number that onset could name."""
    gap = failing(8_000, 7_901, missing_before=400)
    run = structs.replace(run_of(LEAKING[:80]), persistent=gap.persistent, trailing=gap.trailing)
    end = as_it_stands(evidence(run), narrows())
    low, high = bracket(end)
    assert (low, high, end.marks) == (7_900, 8_301, ())


def test_the_life_tells_the_finding_beside_its_ending() -> None:
    life = reduce_unit(evidence(run_of(LEAKING)), fails())
    assert life.onset.state == "ONSET"  # type: ignore[union-attr]
    assert life.onset.high_cycles == life.cycles_high  # type: ignore[union-attr]
