"""Signed answers: a decided question takes its alternative in every reading of the life."""

from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import structs
from reduction_builders import (
    DECAY,
    LEAK,
    declared,
    evidence,
    failing,
    happened,
    inspected,
    low_fluid_stop,
    spec,
    stretch,
)

from analysis.reduction.lives import reduce_unit
from analysis.reduction.settled import settle_life
from schemas.holds import HoldAnswer, HoldChoice
from schemas.lives import Outcome, UnitLife
from schemas.specs import Spec
from schemas.stretches import CycleTally
from schemas.unit_evidence import IdentityConflict, UnitEvidence

CLIPPING = {"reduction": {"clipped_cycles": 3}}


def signed(choice: HoldChoice) -> HoldAnswer:
    return HoldAnswer(
        choice=choice,
        meaning="hold decided",
        reason="seen on the bench",
        signed_at=datetime(2026, 3, 9, tzinfo=UTC),
        signed_by="A. Tester",
    )


def decide(known: UnitEvidence, under: Spec, **choices: HoldChoice) -> UnitLife:
    """The life after holds were signed one after another, each as it was open then."""
    answers: dict[str, HoldAnswer] = {}
    for name, choice in choices.items():
        found = reduce_unit(known, under, answers)
        (hold_id,) = [hold.hold_id for hold in found.holds if hold.name == name]
        answers[hold_id] = signed(choice)
    return reduce_unit(known, under, answers)


def decide_all(known: UnitEvidence, under: Spec, choice: HoldChoice) -> UnitLife:
    answers: dict[str, HoldAnswer] = {}
    found = reduce_unit(known, under)
    while found.holds:
        answers |= {hold.hold_id: signed(choice) for hold in found.holds}
        found = reduce_unit(known, under, answers)
    return found


def figures(outcome: Outcome) -> tuple[str, int, bool]:
    return outcome.ending, outcome.credited_cycles, outcome.failed


def ends(found: UnitLife) -> set[tuple[str, int, bool]]:
    return {figures(each) for each in (found.outcome, found.best, found.worst)}


STOPPED = evidence(stretch(500, stop="E17"), stretch(1500, key=2, hour=3, stop="DONE"))


def test_nothing_signed_changes_nothing() -> None:
    open_life = reduce_unit(STOPPED, spec())
    assert reduce_unit(STOPPED, spec(), {}) == open_life
    assert reduce_unit(STOPPED, spec(), {"unit-9.UNEXPLAINED_STOP.x": signed("WORST")}) == open_life
    assert open_life.decided_holds == []


@pytest.mark.parametrize(
    ("choice", "life"), [("BEST", ("RUN_OUT", 2000, False)), ("WORST", ("FAILED", 500, True))]
)
def test_a_decided_stop_is_the_life_chosen_in_every_reading(
    choice: HoldChoice, life: tuple[str, int, bool]
) -> None:
    found = decide(STOPPED, spec(), UNEXPLAINED_STOP=choice)
    assert ends(found) == {life}
    assert (found.holds, found.ending) == ([], life[0])
    (hold,) = found.decided_holds
    assert hold.answer == signed(choice)
    assert (hold.best.ending, hold.worst.ending) == ("RUN_OUT", "FAILED")


def test_after_a_failure_that_was_signed_nothing_is_asked() -> None:
    known = evidence(stretch(500, stop="E17"), stretch(200, key=2, hour=3, stop="SUSPECT"))
    asked = [hold.name for hold in reduce_unit(known, spec()).holds]
    assert asked == ["UNEXPLAINED_STOP", "UNIT_SUSPECT_UNCONFIRMED"]
    assert decide(known, spec(), UNEXPLAINED_STOP="WORST").holds == []
    (left,) = decide(known, spec(), UNEXPLAINED_STOP="BEST").holds
    assert left.name == "UNIT_SUSPECT_UNCONFIRMED"
    assert ends(decide(known, spec(), UNIT_SUSPECT_UNCONFIRMED="WORST")) == {
        ("FAILED", 700, True),
        ("FAILED", 500, True),
    }


def test_a_failure_that_was_signed_still_leaves_earlier_cycles_in_doubt() -> None:
    under = spec(**CLIPPING)
    tally = CycleTally(test_cycles=500, clipped_cycles=40)
    first = stretch(500, stop="E17", clipped_counted_cycles=40, tally=tally)
    known = evidence(first, stretch(1500, key=2, hour=3))
    found = decide(known, under, UNEXPLAINED_STOP="WORST")
    assert [hold.name for hold in found.holds] == ["PEAK_CLIPPED"]
    assert [figures(each)[1] for each in (found.outcome, found.worst)] == [500, 460]


def test_a_removal_and_a_low_fluid_stop_are_decided_like_a_stop() -> None:
    gone = evidence(stretch(500), events=[happened(500, cause="SYMPTOM")])
    assert ends(decide(gone, spec(), REMOVED_ON_SUSPICION="BEST")) == {("SUSPENDED", 500, False)}
    assert ends(decide(gone, spec(), REMOVED_ON_SUSPICION="WORST")) == {("FAILED", 500, True)}
    dry = [inspected(300, hour=2)]
    low = evidence(stretch(900), low_fluid_stops=[low_fluid_stop(500, hour=5)], inspections=dry)
    bracket = decide(low, spec(), LOW_FLUID_UNINSPECTED="WORST")
    assert (bracket.ending, bracket.cycles_low, bracket.cycles_high) == ("FAILED_BETWEEN", 300, 500)


def test_a_silent_unit_that_was_explained_is_running_and_no_longer_overdue() -> None:
    known = evidence(stretch(500, stop=None), is_overdue=True, is_newest_on_station=True)
    assert "OVERDUE" in reduce_unit(known, spec()).marks
    found = decide(known, spec(), UNIT_OVERDUE="BEST")
    assert (ends(found), found.marks) == ({("RUNNING", 500, False)}, [])
    assert ends(decide(known, spec(), UNIT_OVERDUE="WORST")) == {("FAILED", 500, True)}


@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("NOT_IN_SAMPLE", {"listed": False}),
        (
            "IDENTITY_CONFLICT",
            {
                "identity_conflicts": [
                    IdentityConflict(stretch_key=1, lap=1, evidence=structs.replace(e))
                    for e in [reduce_unit(STOPPED, spec()).holds[0].evidence[0]]
                ]
            },
        ),
    ],
)
def test_a_unit_that_is_signed_not_to_count_is_void(name: str, changes: dict) -> None:
    known = evidence(stretch(2000, stop="DONE"), **changes)
    assert ends(decide(known, spec(), **{name: "BEST"})) == {("RUN_OUT", 2000, False)}
    found = decide(known, spec(), **{name: "WORST"})
    assert (ends(found), found.ending) == ({("VOID", 0, False)}, "VOID")


@pytest.mark.parametrize(("choice", "credit"), [("BEST", 2000), ("WORST", 1960)])
def test_peaks_at_full_scale_count_or_not_as_signed(choice: HoldChoice, credit: int) -> None:
    under = spec(**CLIPPING)
    tally = CycleTally(test_cycles=2000, clipped_cycles=40)
    known = evidence(stretch(2000, clipped_counted_cycles=40, tally=tally))
    found = decide(known, under, PEAK_CLIPPED=choice)
    assert {each.credited_cycles for each in (found.outcome, found.best, found.worst)} == {credit}
    assert found.holds == []


@pytest.mark.parametrize(("choice", "credit"), [("BEST", 2000), ("WORST", 1700)])
def test_a_condition_that_was_not_recorded_is_met_or_not_as_signed(
    choice: HoldChoice, credit: int
) -> None:
    known = evidence(stretch(2000, condition_absent_cycles=300))
    found = decide(known, spec(), CONDITION_NOT_RECORDED=choice)
    assert {each.credited_cycles for each in (found.outcome, found.best, found.worst)} == {credit}


def test_two_answers_about_cycles_take_each_cycle_off_once() -> None:
    under = spec(**CLIPPING)
    first = stretch(
        500,
        stop="GUARD",
        clipped_counted_cycles=450,
        tally=CycleTally(test_cycles=500, clipped_cycles=450),
    )
    known = evidence(first, stretch(500, key=2, hour=3, condition_absent_cycles=500))
    # 1,000 counted, 450 of the first stretch and all 500 of the second in doubt: 50 are left.
    for answers in (
        {"PEAK_CLIPPED": "WORST"},
        {"CONDITION_NOT_RECORDED": "WORST"},
        {"PEAK_CLIPPED": "WORST", "CONDITION_NOT_RECORDED": "WORST"},
    ):
        assert decide(known, under, **answers).worst.credited_cycles == 50
    both = decide(known, under, PEAK_CLIPPED="WORST", CONDITION_NOT_RECORDED="WORST")
    assert (both.outcome.credited_cycles, both.best.credited_cycles) == (50, 50)
    left = decide(known, under, PEAK_CLIPPED="BEST")
    assert (left.best.credited_cycles, left.worst.credited_cycles) == (1000, 500)


def test_conflicting_rows_are_read_as_signed_and_other_answers_go_with_them() -> None:
    stored, short = stretch(2000, stop="DONE"), stretch(1990, stop="DONE")
    known = evidence(stored, kindest=[stored], harshest=[short])
    best = decide(known, spec(), CONFLICTING_ROWS="BEST")
    worst = decide(known, spec(), CONFLICTING_ROWS="WORST")
    assert (ends(best), best.totals.counted_cycles) == ({("RUN_OUT", 2000, False)}, 2000)
    assert (ends(worst), worst.totals.counted_cycles) == ({("SUSPENDED", 1990, False)}, 1990)


def test_an_answer_to_a_stop_holds_while_rows_of_another_cycle_conflict() -> None:
    rows = [stretch(500, stop="E17"), stretch(1500, key=2, hour=3, stop="DONE")]
    harsh = [rows[0], stretch(1400, key=2, hour=3, stop="DONE")]
    known = evidence(*rows, kindest=rows, harshest=harsh)
    found = decide(known, spec(), UNEXPLAINED_STOP="BEST")
    assert [hold.name for hold in found.holds] == ["CONFLICTING_ROWS"]
    assert (figures(found.best), figures(found.worst)) == (
        ("RUN_OUT", 2000, False),
        ("SUSPENDED", 1900, False),
    )


@pytest.mark.parametrize(
    ("choice", "life"), [("BEST", ("RUN_OUT", 2000, False)), ("WORST", ("FAILED", 900, True))]
)
def test_of_two_sources_of_a_life_the_one_signed_for_is_read(
    choice: HoldChoice, life: tuple[str, int, bool]
) -> None:
    rows = evidence(
        stretch(500, stop="GUARD"),
        stretch(1500, key=2, hour=3, stop="DONE"),
        declared=[declared("FAILED", 900)],
    )
    tables = evidence(declared=[declared("RUN_OUT", 2000), declared("FAILED", 900)])
    for known in (rows, tables):
        found = decide(known, spec(), LIFE_SOURCE_CONFLICT=choice)
        assert (ends(found), found.holds) == ({life}, [])
    assert len(decide(rows, spec(), LIFE_SOURCE_CONFLICT="WORST").stretches) == 2


def test_a_source_that_was_not_chosen_asks_nothing_about_the_unit() -> None:
    known = evidence(stretch(500, stop="E17"), declared=[declared("FAILED", 900)])
    asked = {hold.name for hold in reduce_unit(known, spec()).holds}
    assert asked == {"UNEXPLAINED_STOP", "LIFE_SOURCE_CONFLICT"}
    declared_wins = decide(known, spec(), LIFE_SOURCE_CONFLICT="WORST")
    assert (declared_wins.holds, figures(declared_wins.worst)) == ([], ("FAILED", 900, True))


def test_open_questions_are_those_that_nobody_answered() -> None:
    known = evidence(stretch(500, stop="E17"), listed=False)
    found = settle_life(known, spec(), {})
    (stop, sample) = found.open_holds
    decided = settle_life(known, spec(), {stop.hold_id: signed("BEST")})
    assert [doubt.name for doubt in decided.open_doubts] == [sample.name]
    assert [hold.hold_id for hold in decided.decided_holds] == [stop.hold_id]


STOPS = st.sampled_from(["DONE", "GUARD", "SHIFT_END", "E17", "SUSPECT", None])


@settings(derandomize=True, max_examples=60)
@given(
    runs=st.lists(st.tuples(st.integers(0, 900), STOPS, st.booleans()), min_size=1, max_size=4),
    listed=st.booleans(),
    overdue=st.booleans(),
    absent=st.integers(0, 100),
    under=st.sampled_from([spec(), spec(DECAY, LEAK, inspection_interval_cycles=1500)]),
)
def test_deciding_everything_one_way_gives_the_end_that_was_shown_before(
    runs: list, listed: bool, overdue: bool, absent: int, under: Spec
) -> None:
    stretches = [
        failing(counted + 5, counted + 1, key=n, hour=2 * n, stop=stop)
        if fails
        else stretch(
            counted, key=n, hour=2 * n, stop=stop, condition_absent_cycles=min(absent, counted)
        )
        for n, (counted, stop, fails) in enumerate(runs)
    ]
    known = evidence(*stretches, listed=listed, is_overdue=overdue)
    shown = reduce_unit(known, under)
    for choice, end in (("BEST", shown.best), ("WORST", shown.worst)):
        found = decide_all(known, under, choice)
        assert ends(found) == {figures(end)}
        assert found.best == found.worst == found.outcome


@pytest.mark.parametrize(("choice", "cycles"), [("BEST", 1700), ("WORST", 700)])
def test_an_order_that_was_signed_for_is_not_asked_about_again(
    choice: HoldChoice, cycles: int
) -> None:
    # The unit fails after 700 cycles of a run that began before another one had ended.
    known = evidence(stretch(1000, key=1), failing(704, 700, key=2, hour=0.2))
    found = decide(known, spec(), ORDER_AMBIGUOUS=choice)
    assert (ends(found), found.holds) == ({("FAILED", cycles, True)}, [])


@pytest.mark.parametrize(
    ("choice", "life"), [("BEST", ("RUN_OUT", 2000, False)), ("WORST", ("SUSPENDED", 1800, False))]
)
def test_single_cells_that_were_signed_to_be_met_count(
    choice: HoldChoice, life: tuple[str, int, bool]
) -> None:
    under = spec(reduction={"under_pressure_share_max": 0.05})
    known = evidence(stretch(1800, not_counted={"CONDITION_NOT_RECORDED": 200}))
    assert ends(decide(known, under, CONDITION_NOT_RECORDED=choice)) == {life}
