"""A step is told with its count and first difference, also where it breaks."""

from msgspec import UNSET

from schemas.validations import ValidationStep
from service.validation.step_report import Compared, step_of


def _of(compared: Compared) -> ValidationStep:
    return step_of("backup", lambda: compared)


def test_a_step_without_a_difference_has_passed() -> None:
    step = _of(Compared(count=3, differences=[], notes=["all of it"]))
    assert (step.passed, step.compared_count, step.differing_count) == (True, 3, 0)
    assert step.first_difference is UNSET
    assert step.notes == ["all of it"]


def test_the_first_difference_is_told_and_all_are_counted() -> None:
    step = _of(Compared(count=3, differences=["one", "two"]))
    assert (step.passed, step.differing_count, step.first_difference) == (False, 2, "one")


def test_a_step_that_compared_nothing_has_not_passed_unless_nothing_was_there() -> None:
    assert _of(Compared(count=0, differences=[])).first_difference == "nothing was compared"
    assert _of(Compared(count=0, differences=[], may_be_empty=True)).passed


def test_a_step_that_breaks_says_how() -> None:
    def broken() -> Compared:
        raise RuntimeError("no room")

    step = step_of("backup", broken)
    assert (step.passed, step.differing_count) == (False, 1)
    assert step.first_difference == "not finished: RuntimeError: no room"
