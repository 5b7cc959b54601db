"""Units that share a station, or are in two places, at one time.

The ruling: a stretch ends at its last start plus the median spacing of its rows; overlap of two
serials on a station, or of a serial on two stations, is a conflict of identity.
"""

import itertools
import statistics
from datetime import datetime, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st
from reduction_builders import FIRST_START, LOT

from analysis.reduction.identity import (
    Span,
    identity_conflicts,
    longest_spacing,
    spacings_wanted,
)

CYCLE = timedelta(seconds=2.5)


def span(key: int, unit: int, first: float, cycles: int = 100, **changes: object) -> Span:
    """A stretch of cycles of 2.5 s that begins `first` cycles after the first instant."""
    start = FIRST_START + first * CYCLE
    fields = {
        "stretch_key": key,
        "unit_key": unit,
        "lot_number": LOT,
        "unit_serial": f"U-{unit:03}",
        "rig_id": "RIG-A",
        "run_id": f"run-{key:02}",
        "station_no": 1,
        "first_at": start,
        "last_at": start + (cycles - 1) * CYCLE,
        "row_count": cycles,
        "lap": 1,
        "first_cycle_in_run": 1,
        "last_cycle_in_run": cycles,
    }
    return Span(**(fields | changes))


def conflicts(*spans: Span, spacing: timedelta = CYCLE) -> dict[int, list[str]]:
    """Runs in conflict by unit, every stretch having the same spacing where it was asked for."""
    spacings = dict.fromkeys(spacings_wanted(spans), spacing)
    return {
        unit: [str(each.evidence.run_id) for each in found]
        for unit, found in identity_conflicts(spans, spacings).items()
    }


def test_two_units_on_one_station_at_one_time_are_both_in_doubt() -> None:
    assert conflicts(span(1, 1, 0), span(2, 2, 50)) == {1: ["run-01"], 2: ["run-02"]}


def test_units_on_other_stations_or_rigs_are_not() -> None:
    beside = span(2, 2, 50, station_no=2)
    elsewhere = span(3, 3, 50, rig_id="RIG-B")
    assert conflicts(span(1, 1, 0), beside, elsewhere) == {}


def test_one_unit_on_two_stations_at_one_time_is_in_doubt_on_both() -> None:
    assert conflicts(span(1, 1, 0), span(2, 1, 50, station_no=2)) == {1: ["run-01", "run-02"]}


def test_two_runs_of_one_unit_on_one_station_are_a_question_of_order_not_of_identity() -> None:
    assert conflicts(span(1, 1, 0), span(2, 1, 50)) == {}


def test_a_stretch_lasts_to_the_end_of_its_last_cycle() -> None:
    # The last of 100 cycles begins at 99 and ends at 100 cycles.
    assert conflicts(span(1, 1, 0), span(2, 2, 99.9)) == {1: ["run-01"], 2: ["run-02"]}
    assert conflicts(span(1, 1, 0), span(2, 2, 100)) == {}


def test_a_gap_inside_a_stretch_does_not_lengthen_its_cycle() -> None:
    # Ten cycles and a pause of a thousand: the mean spacing is long, the median is not.
    paused = span(1, 1, 0, cycles=1010, row_count=11)
    assert conflicts(paused, span(2, 2, 1012)) == {}
    assert conflicts(paused, span(2, 2, 1009.5)) != {}


def test_a_stretch_of_one_row_lasts_no_time_but_was_somewhere() -> None:
    single = span(1, 1, 50, cycles=1)
    assert longest_spacing(single) == timedelta(0)
    assert conflicts(single, span(2, 2, 0)) == {2: ["run-02"], 1: ["run-01"]}
    assert conflicts(single, span(2, 2, 50, cycles=1)) == {1: ["run-01"], 2: ["run-02"]}
    assert conflicts(single, span(2, 2, 51)) == {}


def test_the_spacing_is_asked_only_where_it_can_decide() -> None:
    assert spacings_wanted([span(1, 1, 0), span(2, 2, 500), span(3, 3, 9000)]) == set()
    assert spacings_wanted([span(1, 1, 0), span(2, 2, 100.5)]) == {1, 2}


def test_the_evidence_names_the_other_unit_and_the_time_they_shared() -> None:
    first, second = span(1, 1, 0), span(2, 2, 50, lot_number="CC25-0118", lap=0)
    spacings = dict.fromkeys((1, 2), CYCLE)
    (found,) = identity_conflicts([first, second], spacings)[1]
    where = found.evidence
    assert (found.stretch_key, found.lap) == (1, 1)
    assert (where.other_lot_number, where.other_unit_serial) == ("CC25-0118", "U-002")
    assert (where.from_cycle_in_run, where.to_cycle_in_run, where.cycles) == (1, 100, 100)
    assert where.from_at.replace(tzinfo=None) == FIRST_START + 50 * CYCLE
    assert where.to_at.replace(tzinfo=None) == FIRST_START + 100 * CYCLE


@settings(derandomize=True, max_examples=200)
@given(st.lists(st.integers(0, 10_000_000), min_size=2, max_size=12))
def test_no_median_spacing_is_above_the_longest_that_is_looked_at(starts: list[int]) -> None:
    instants = [FIRST_START + timedelta(microseconds=each) for each in sorted(starts)]
    gaps = [later - earlier for earlier, later in itertools.pairwise(instants)]
    median_s = statistics.median(gap.total_seconds() for gap in gaps)
    whole = span(1, 1, 0, first_at=instants[0], last_at=instants[-1], row_count=len(instants))
    assert timedelta(seconds=median_s) <= longest_spacing(whole) + timedelta(microseconds=1)


@settings(derandomize=True, max_examples=100)
@given(
    st.lists(
        st.tuples(st.integers(1, 3), st.integers(1, 2), st.integers(0, 30), st.integers(1, 12)),
        max_size=7,
    )
)
def test_the_sweep_finds_what_comparing_every_pair_does(
    runs: list[tuple[int, int, int, int]],
) -> None:
    spans = [
        span(key, unit, first, cycles=cycles, station_no=station)
        for key, (unit, station, first, cycles) in enumerate(runs)
    ]
    expected: dict[int, list[str]] = {}
    for one in spans:
        for other in spans:
            same_place, same_unit = (
                one.station_no == other.station_no,
                one.unit_key == other.unit_key,
            )
            if same_place != same_unit and _meet(one, other):
                expected.setdefault(one.unit_key, []).append(one.run_id)
    found = conflicts(*spans)
    assert {unit: sorted(each) for unit, each in found.items()} == {
        unit: sorted(each) for unit, each in expected.items()
    }


def _meet(one: Span, other: Span) -> bool:
    def busy(each: Span) -> set[datetime]:
        cycles = each.row_count if each.row_count > 1 else 1
        return {each.first_at + n * CYCLE for n in range(cycles)}

    return bool(busy(one) & busy(other))
