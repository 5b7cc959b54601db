"""Questions that no rule decides, each from hand-made evidence."""

import pytest
from reduction_builders import (
    DECAY,
    LEAK,
    evidence,
    failing,
    happened,
    hold_names,
    inspected,
    low_fluid_stop,
    spec,
    stretch,
)

from analysis.reduction.endings import end_of_life
from analysis.reduction.questions import Question, open_questions
from schemas.specs import Spec
from schemas.stretches import StretchSummary

INSPECTED = spec(DECAY, LEAK, inspection_interval_cycles=1500)


def asked(
    *stretches: StretchSummary, under: Spec | None = None, **changes: object
) -> list[Question]:
    known, chosen = evidence(*stretches, **changes), under or spec()
    return open_questions(known, stretches, chosen, end_of_life(known, stretches, chosen))


@pytest.mark.parametrize("stop", ["DONE", "GUARD", "SHIFT_END", "LOW_OIL"])
def test_an_explained_stop_asks_nothing(stop: str) -> None:
    assert asked(stretch(500, stop=stop)) == []


@pytest.mark.parametrize(
    ("stop", "name", "code"),
    [
        ("E17", "UNEXPLAINED_STOP", "E17"),
        ("SUSPECT", "UNIT_SUSPECT_UNCONFIRMED", "SUSPECT"),
    ],
)
def test_a_stop_that_says_nothing_or_suspects_the_unit_asks(
    stop: str, name: str, code: str
) -> None:
    (question,) = asked(
        stretch(500, not_counted={"MODE": 9}), stretch(40, key=2, hour=3, stop=stop)
    )
    assert (question.name, question.at_counted, question.at_logged) == (name, 540, 549)
    assert question.worst_low == 540
    assert question.evidence.raw_code == code
    assert question.evidence.to_cycle_in_run == 40


def test_a_missing_reason_asks_unless_the_run_goes_on() -> None:
    assert hold_names(asked(stretch(500, stop=None))) == ["UNEXPLAINED_STOP"]
    assert asked(stretch(500, stop=None), is_newest_on_station=True) == []


def test_a_stop_that_was_followed_by_another_run_still_asks() -> None:
    assert hold_names(asked(stretch(500, stop=None), stretch(9, key=2, hour=3))) == [
        "UNEXPLAINED_STOP"
    ]


def test_a_counter_reset_is_no_stop() -> None:
    lap = stretch(500, stop=None, is_last_lap=False)
    assert asked(lap, stretch(9, lap=2, hour=3)) == []


def test_what_comes_at_or_after_a_failure_asks_nothing() -> None:
    assert asked(failing(904, 900, stop="SUSPECT"), stretch(9, key=2, hour=3, stop=None)) == []


def test_what_comes_after_a_removal_asks_nothing() -> None:
    gone = happened(500, cause="SCHEDULED")
    assert asked(stretch(500), stretch(40, key=2, hour=3, stop=None), events=[gone]) == []


def test_a_low_fluid_stop_asks_until_somebody_looks() -> None:
    stop = low_fluid_stop(500, hour=5)
    before = [inspected(300, hour=2), inspected(200, hour=1)]
    (question,) = asked(stretch(900), low_fluid_stops=[stop], inspections=before)
    assert question.name == "LOW_FLUID_UNINSPECTED"
    assert (question.worst_low, question.at_counted) == (300, 500)


def test_a_dry_unit_after_the_low_fluid_stop_heals() -> None:
    stop = low_fluid_stop(500, hour=5)
    dry = inspected(500, hour=6, function_check=None)
    assert asked(stretch(900), low_fluid_stops=[stop], inspections=[dry]) == []
    not_looked = inspected(500, hour=6, leak_class=None)
    assert hold_names(asked(stretch(900), low_fluid_stops=[stop], inspections=[not_looked]))
    too_early = inspected(500, hour=4)
    assert hold_names(asked(stretch(900), low_fluid_stops=[stop], inspections=[too_early]))


def test_a_leak_found_after_the_low_fluid_stop_is_a_failure_and_no_question() -> None:
    stop = low_fluid_stop(500, hour=5)
    wet = inspected(700, hour=9, leak_class=4)
    assert asked(stretch(900), under=INSPECTED, low_fluid_stops=[stop], inspections=[wet]) == []


@pytest.mark.parametrize("kind", ["REMOVED", "REWORK"])
@pytest.mark.parametrize("cause", ["SYMPTOM", None])
def test_a_removal_without_a_scheduled_cause_asks(kind: str, cause: str | None) -> None:
    (question,) = asked(stretch(500), events=[happened(500, kind=kind, cause=cause)])
    assert (question.name, question.at_counted, question.worst_low) == (
        "REMOVED_ON_SUSPICION",
        500,
        500,
    )


def test_a_scheduled_removal_asks_nothing() -> None:
    assert asked(stretch(500), events=[happened(500, cause="SCHEDULED")]) == []


def test_a_silent_unit_asks_at_its_last_verified_point() -> None:
    (question,) = asked(stretch(500), is_overdue=True)
    assert (question.name, question.at_counted) == ("UNIT_OVERDUE", 500)
    (question,) = asked(
        stretch(500), under=INSPECTED, inspections=[inspected(200)], is_overdue=True
    )
    assert (question.name, question.at_counted) == ("UNIT_OVERDUE", 200)


def test_silence_of_a_unit_that_has_ended_or_never_started_asks_nothing() -> None:
    assert asked(stretch(2000), is_overdue=True) == []
    assert asked(failing(904, 900), is_overdue=True) == []
    assert asked(is_overdue=True) == []


def test_an_inspection_is_overdue_one_cycle_after_its_interval() -> None:
    due = [inspected(300)]
    assert asked(stretch(1800), under=INSPECTED, inspections=due) == []
    (question,) = asked(stretch(1801), under=INSPECTED, inspections=due)
    assert (question.name, question.at_counted) == ("INSPECTION_OVERDUE", 300)
    assert question.evidence.cycles == 1501


def test_an_end_check_that_nobody_makes_is_an_overdue_inspection() -> None:
    late = {"under": INSPECTED, "inspections": [inspected(900)]}
    assert asked(stretch(2000), **late) == []
    assert hold_names(asked(stretch(2000), is_overdue=True, **late)) == ["INSPECTION_OVERDUE"]


def test_a_rig_that_gave_way_explains_the_stop_whatever_its_code_says() -> None:
    for stop in ("SUSPECT", "E17", None):
        assert asked(stretch(500, stop=stop), cannot_build={1: "RIG"}) == []


@pytest.mark.parametrize("stop", ["SUSPECT", "GUARD", None])
def test_without_a_neighbour_a_unit_that_can_not_build_is_one_question(stop: str | None) -> None:
    assert hold_names(asked(stretch(500, stop=stop), cannot_build={1: "UNCLEAR"})) == [
        "CANNOT_BUILD_UNCLEAR"
    ]


def test_questions_come_in_the_order_of_the_life() -> None:
    stops = [stretch(100, key=n, hour=n, stop="E17") for n in (1, 2)]
    both = asked(*stops, events=[happened(150, cause="SYMPTOM")])
    assert [question.at_counted for question in both] == [100, 150]
