"""Lives that were uploaded as such."""

import pytest
from reduction_builders import BURST, DECAY, declared, spec

from analysis.reduction.declared import end_of_declared
from analysis.reduction.without_spec import permissive_spec


def test_an_exact_failure_keeps_its_count_and_is_critical_only_if_somebody_named_the_mode() -> None:
    end = end_of_declared(declared("FAILED", 700), spec(DECAY, BURST))
    assert (end.ending, end.cycles, end.credited_cycles) == ("FAILED", 700, 700)
    assert (end.failure.critical, end.failure.failure_mode) == (False, "UNANALYSED")


def test_a_named_mode_decides_how_grave_it_is() -> None:
    end = end_of_declared(declared("FAILED", 700, "SEAL_DECAY"), spec(DECAY, BURST))
    assert (end.failure.critical, end.failure.seen_as) == (False, "DECAY")


def test_a_bracket_is_credited_its_low_end() -> None:
    end = end_of_declared(declared("FAILED_BETWEEN", (500, 700)), spec())
    assert (end.ending, end.cycles_low, end.cycles_high) == ("FAILED_BETWEEN", 500, 700)
    assert (end.credited_cycles, end.most_cycles) == (500, 700)


@pytest.mark.parametrize(("cycles", "credited"), [(700, 700), ((500, 700), 500)])
def test_a_mode_that_is_not_relevant_suspends(cycles: int | tuple, credited: int) -> None:
    rig_side = DECAY | {"name": "FITTING", "relevant": False}
    ending = "FAILED" if isinstance(cycles, int) else "FAILED_BETWEEN"
    end = end_of_declared(declared(ending, cycles, "FITTING"), spec(DECAY, rig_side))
    assert (end.ending, end.credited_cycles, end.has_ended) == ("SUSPENDED", credited, True)
    assert (end.cycles_low, end.cycles_high) == (None, None)


def test_a_run_out_short_of_the_plan_is_a_suspension_that_says_so() -> None:
    end = end_of_declared(declared("RUN_OUT", 1999), spec())
    assert (end.ending, end.marks) == ("SUSPENDED", ("PLANNED_NOT_COUNTED",))
    assert end_of_declared(declared("RUN_OUT", 2000), spec()).ending == "RUN_OUT"


def test_without_a_requirement_no_run_out_is_short() -> None:
    assert end_of_declared(declared("RUN_OUT", 10), permissive_spec()).ending == "RUN_OUT"


def test_a_void_life_is_credited_nothing() -> None:
    end = end_of_declared(declared("VOID", 900), spec())
    assert (end.ending, end.credited_cycles, end.has_ended) == ("VOID", 0, True)


def test_whoever_declares_a_suspension_has_taken_the_unit_off() -> None:
    end = end_of_declared(declared("SUSPENDED", 900), spec())
    assert (end.ending, end.cycles, end.has_ended) == ("SUSPENDED", 900, True)
