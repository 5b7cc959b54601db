"""The name of a hold is the name of its evidence."""

from msgspec import structs
from reduction_builders import evidence, spec, stretch

from analysis.reduction.doubts import as_it_stands, doubts_of
from analysis.reduction.holds import hold_ids, hold_of
from analysis.reduction.readings import Doubt
from schemas.stretches import StretchSummary


def asked(*stretches: StretchSummary, **changes: object) -> list[Doubt]:
    known = evidence(*stretches, **changes)
    return doubts_of(known, spec(), as_it_stands(known, spec()))


def names(*stretches: StretchSummary, **changes: object) -> list[str]:
    return hold_ids("unit-1", asked(*stretches, **changes))


STOP = stretch(500, stop="E17")


def test_a_name_says_the_unit_and_the_question_and_is_the_same_every_time() -> None:
    (name,) = names(STOP)
    unit, question, letters = name.split(".")
    assert (unit, question, len(letters)) == ("unit-1", "UNEXPLAINED_STOP", 12)
    assert names(STOP) == [name]


def test_a_unit_that_runs_on_keeps_the_names_of_its_past_questions() -> None:
    (name,) = names(STOP)
    on = stretch(300, key=2, hour=3)
    assert names(STOP, on) == [name]
    assert names(STOP, on, stretch(1300, key=3, hour=6, stop="DONE")) == [name]


def test_what_changes_the_evidence_changes_the_name() -> None:
    (name,) = names(STOP)
    others = [
        stretch(501, stop="E17"),  # one more row of the run
        stretch(499, stop="E17", not_counted={"MODE": 1}),  # one cycle less counts before it
        stretch(500, stop="E18"),  # another code
        stretch(500, stop=None),  # none
        stretch(500, stop="E17", station=2),
        stretch(500, stop="E17", key=7),  # another run
    ]
    assert name not in [each for other in others for each in names(other)]


def test_questions_that_look_the_same_are_told_apart_by_their_order() -> None:
    doubt = asked(STOP)[0]
    first, second = hold_ids("unit-1", [doubt, doubt])
    assert first != second
    assert hold_ids("unit-1", [doubt]) == [first]
    assert hold_ids("unit-2", [doubt]) != [first]


def test_which_serials_count_is_one_question_until_the_unit_fails() -> None:
    (name,) = names(stretch(500, stop="GUARD"), listed=False)
    assert names(stretch(500), stretch(90, key=2, hour=3), listed=False) == [name]
    doubt = asked(stretch(500), listed=False)[0]
    failed = structs.replace(doubt.worst, ending="FAILED", cycles=500)
    assert hold_ids("unit-1", [structs.replace(doubt, worst=failed)]) != [name]


def test_where_two_lives_are_asked_about_their_figures_are_in_the_name() -> None:
    doubt = structs.replace(asked(STOP)[0], name="LIFE_SOURCE_CONFLICT", evidence=[])
    longer = structs.replace(doubt.best, verified_cycles=501)
    other = structs.replace(doubt, best=longer)
    assert hold_ids("unit-1", [doubt]) != hold_ids("unit-1", [other])


def test_a_hold_carries_both_alternatives_and_names_its_unit() -> None:
    known = evidence(STOP)
    hold = hold_of(known, "unit-1.UNEXPLAINED_STOP.x", asked(STOP)[0])
    assert (hold.unit_id, hold.lot_number, hold.unit_serial) == (
        known.unit_id,
        known.lot_number,
        known.unit_serial,
    )
    assert (hold.best.ending, hold.worst.ending) == ("SUSPENDED", "FAILED")
    assert not hold.answer
