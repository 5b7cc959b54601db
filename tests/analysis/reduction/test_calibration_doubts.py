"""A unit whose sensor was found to be off: on true pressures, disputed, or void."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from reduction_builders import (
    FIRST_START,
    LEAK,
    PLANNED,
    declared,
    evidence,
    failing,
    inspected,
    spec,
    stretch,
)

from analysis.reduction.calibration_doubts import with_readings
from analysis.reduction.lives import reduce_unit
from schemas.holds import Hold, HoldAnswer, HoldChoice
from schemas.lives import Outcome, UnitLife
from schemas.sensor_corrections import RowCorrection
from schemas.stretches import CycleRange, StretchSummary
from schemas.unit_evidence import UnitEvidence

FOUND_OUT = "CALIBRATION_FOUND_OUT"


def correction(key: int = 1, gain: float = 1.06) -> RowCorrection:
    return RowCorrection(
        stretch_key=key,
        sensor_key=7,
        sensor_id="PT-1",
        from_at=FIRST_START,
        to_at=FIRST_START.replace(year=2027),
        gain=gain,
        offset_mpa=0.0,
    )


def found_out(counted: int, lost: int, **changes: Any) -> StretchSummary:
    """A stretch that lost so many cycles to the calibration."""
    place = CycleRange(first_cycle_in_run=1, last_cycle_in_run=lost)
    ranges = {FOUND_OUT: place} if lost else {}
    not_counted = {FOUND_OUT: lost} if lost else {}
    return stretch(counted, not_counted=not_counted, ranges=ranges, **changes)


def unit(after: list[StretchSummary], before: list[StretchSummary], **changes: Any) -> UnitEvidence:
    """A unit on true pressures, with its readings beside it."""
    keys = {each.stretch_key: [correction(each.stretch_key)] for each in after}
    return with_readings(evidence(*after, **changes), evidence(*before, **changes), keys)


def answer(choice: HoldChoice) -> HoldAnswer:
    return HoldAnswer(
        choice=choice,
        meaning="hold decided",
        reason="the record was checked",
        signed_at=datetime(2026, 3, 9, tzinfo=UTC),
        signed_by="A. Tester",
    )


def signed(known: UnitEvidence, choice: HoldChoice, **changes: Any) -> UnitLife:
    [hold] = held(reduce_unit(known, spec(**changes)))
    return reduce_unit(known, spec(**changes), {hold.hold_id: answer(choice)})


def held(life: UnitLife) -> list[Hold]:
    return [hold for hold in life.holds if hold.name == FOUND_OUT]


def figures(outcome: Outcome) -> tuple[str, int, bool]:
    return outcome.ending, outcome.credited_cycles, outcome.failed


SHORT = unit([found_out(200, 1800, stop="DONE")], [stretch(PLANNED, stop="DONE")])
"""On its readings the unit reached its planned count; in truth a tenth of its cycles count."""


def test_as_it_stands_the_life_is_that_of_the_true_pressures() -> None:
    life = reduce_unit(SHORT, spec())
    assert (life.ending, life.credited_cycles) == ("SUSPENDED", 200)
    assert life.totals.not_counted_by == {FOUND_OUT: 1800}
    [hold] = held(life)
    assert (hold.best.ending, hold.best.credited_cycles) == ("RUN_OUT", PLANNED)
    assert (hold.worst.ending, hold.worst.credited_cycles) == ("VOID", 0)
    assert figures(life.best) == ("RUN_OUT", PLANNED, False)
    assert figures(life.worst) == ("VOID", 0, False)


def test_the_hold_names_the_sensor_its_error_and_the_rows() -> None:
    [hold] = held(reduce_unit(SHORT, spec()))
    [item] = hold.evidence
    assert (item.sensor_id, item.gain, item.offset_mpa) == ("PT-1", 1.06, 0.0)
    assert (item.cycles, item.from_cycle_in_run, item.to_cycle_in_run) == (1800, 1, 1800)


def test_disputed_the_readings_are_the_unit_and_ask_their_own_questions() -> None:
    life = signed(SHORT, "BEST")
    assert (life.ending, life.credited_cycles) == ("RUN_OUT", PLANNED)
    assert life.totals.not_counted_by == {}
    assert figures(life.best) == figures(life.worst) == ("RUN_OUT", PLANNED, False)
    assert (held(life), [each.name for each in life.decided_holds]) == ([], [FOUND_OUT])
    unexplained = unit([found_out(200, 1800, stop="E17")], [stretch(PLANNED, stop="E17")])
    assert [hold.name for hold in signed(unexplained, "BEST").holds] == ["UNEXPLAINED_STOP"]


def test_believed_the_unit_is_void() -> None:
    life = signed(SHORT, "WORST")
    assert (life.ending, life.credited_cycles, held(life)) == ("VOID", 0, [])
    assert figures(life.outcome) == figures(life.worst) == ("VOID", 0, False)


def test_cycles_gained_are_told_too() -> None:
    low = unit([stretch(1000)], [stretch(400, not_counted={"UNDER_PRESSURE": 600})])
    [hold] = held(reduce_unit(low, spec()))
    [item] = hold.evidence
    assert (item.quantity, item.measured, item.cycles) == ("gained_cycles", 600.0, 0)


def test_equal_lives_ask_nothing() -> None:
    assert held(reduce_unit(unit([stretch(500)], [stretch(500)]), spec())) == []
    # The unit failed before the corrected rows, in both readings at the same cycle.
    first = failing(105, 101, key=1)
    after = [first, found_out(5, 95, key=2, hour=3)]
    before = [first, stretch(100, key=2, hour=3)]
    assert held(reduce_unit(unit(after, before), spec())) == []


def test_a_failure_on_true_pressures_is_not_voided_away() -> None:
    after = [failing(105, 101, not_counted={FOUND_OUT: 900})]
    life = reduce_unit(unit(after, [failing(1005, 1001)]), spec())
    [hold] = held(life)
    assert (life.ending, life.credited_cycles) == ("FAILED", 101)
    assert (hold.best.credited_cycles, hold.worst.credited_cycles) == (1001, 101)
    assert hold.worst.failed


def test_a_failure_that_only_the_readings_show_is_the_worst() -> None:
    life = reduce_unit(unit([stretch(500)], [failing(500, 101)]), spec())
    assert not life.outcome.failed
    [hold] = held(life)
    assert (hold.best.failed, hold.worst.failed) == (True, True)
    assert (figures(life.best), figures(life.worst)) == (
        ("SUSPENDED", 500, False),
        ("FAILED", 101, True),
    )


def test_inspections_of_the_readings_are_counted_on_the_readings() -> None:
    on_truth = evidence(found_out(200, 1800, stop="DONE"), inspections=[inspected(200)])
    on_readings = evidence(stretch(PLANNED, stop="DONE"), inspections=[inspected(PLANNED)])
    known = with_readings(on_truth, on_readings, {1: [correction()]})
    life = reduce_unit(known, spec(LEAK))
    [hold] = held(life)
    assert (hold.best.ending, hold.best.credited_cycles) == ("RUN_OUT", PLANNED)
    assert life.verified_cycles == 200


def test_a_declared_life_that_was_chosen_asks_nothing_of_sensors() -> None:
    both = unit(
        [found_out(200, 1800, stop="DONE")],
        [stretch(PLANNED, stop="DONE")],
        declared=[declared("FAILED", 700)],
    )
    answers: dict[str, HoldAnswer] = {}
    [source] = [h for h in reduce_unit(both, spec()).holds if h.name == "LIFE_SOURCE_CONFLICT"]
    answers[source.hold_id] = answer("WORST")
    life = reduce_unit(both, spec(), answers)
    assert (life.ending, life.credited_cycles, held(life)) == ("FAILED", 700, [])


def test_a_unit_that_ran_on_other_sensors_is_as_it_was() -> None:
    known = evidence(stretch(500))
    assert with_readings(known, known, {9: [correction(9)]}) is known


@given(
    counted=st.integers(0, 3000),
    lost=st.integers(0, 3000),
    stop=st.sampled_from(["DONE", "E17", "GUARD", None]),
    overdue=st.booleans(),
)
def test_every_option_lies_between_the_ends(
    counted: int, lost: int, stop: str | None, overdue: bool
) -> None:
    known = unit(
        [found_out(counted, lost, stop=stop)],
        [stretch(counted + lost, stop=stop)],
        is_overdue=overdue,
    )
    life = reduce_unit(known, spec())
    for hold in held(life):
        for choice in ("BEST", "WORST"):
            decided = reduce_unit(known, spec(), {hold.hold_id: answer(choice)})
            if not life.worst.failed and life.worst.ending != "VOID":
                assert decided.worst.credited_cycles >= life.worst.credited_cycles
            assert not decided.worst.failed or life.worst.failed
            assert decided.best.failed or not life.best.failed
            assert decided.best.credited_cycles <= life.best.credited_cycles
