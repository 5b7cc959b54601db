"""A lot is looked at three times: as reduced, at its best, at its worst."""

from lives import held_life, hold, life, lot, not_started, outcome

from analysis.decision.lot_states import states_of

RUN_OUT = outcome("RUN_OUT", 200_000)
FAILED = outcome("FAILED", 150_000)


def test_without_holds_all_three_are_one() -> None:
    states = states_of(lot([life("U-001", RUN_OUT), life("U-002", FAILED)]))
    assert states.headline == states.best == states.worst
    assert states.headline.outcomes == [RUN_OUT, FAILED]
    assert (states.holds, states.held_serials) == ([], [])


def test_each_unit_stands_at_its_own_best_and_worst() -> None:
    held = held_life("U-002", best=RUN_OUT, worst=FAILED, name="UNEXPLAINED_STOP")
    states = states_of(lot([life("U-001", RUN_OUT), held]))
    assert states.best.outcomes == [RUN_OUT, RUN_OUT]
    assert states.worst.outcomes == [RUN_OUT, FAILED]
    assert states.held_serials == ["U-002"]
    assert [each.name for each in states.holds] == ["UNEXPLAINED_STOP"]


def test_a_failure_that_no_unit_can_be_named_for_is_added_at_the_worst_only() -> None:
    nameless = hold(None, RUN_OUT, FAILED, "IDENTITY_CONFLICT")
    states = states_of(lot([life("U-001", RUN_OUT)], lot_holds=[nameless]))
    assert states.headline.outcomes == states.best.outcomes == [RUN_OUT]
    assert [each.failed for each in states.worst.outcomes] == [False, True]
    assert states.worst.outcomes[1].cycles == 150_000
    assert states.worst.place_count == 1


def test_a_hold_listed_on_unit_and_lot_is_one_hold() -> None:
    held = held_life("U-001", best=RUN_OUT, worst=FAILED, name="NOT_IN_SAMPLE")
    states = states_of(lot([held], lot_holds=list(held.holds)))
    assert len(states.holds) == 1
    assert len(states.worst.outcomes) == 1


def test_marks_say_what_has_started_is_due_and_takes_no_place() -> None:
    states = states_of(
        lot(
            [
                not_started("U-001"),
                life("U-002", outcome("RUNNING", 5), marks=["END_CHECK_DUE"]),
                life("U-003", RUN_OUT, marks=["NOT_IN_SAMPLE"]),
            ]
        )
    )
    assert states.headline.has_started
    assert states.headline.place_count == 2
    assert states.headline.end_checks_due == ["U-002"]
    assert not states_of(lot([not_started("U-001")])).headline.has_started
