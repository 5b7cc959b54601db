"""Which mode an observation belongs to, and what an inspection clears."""

from reduction_builders import BURST, DECAY, FUNCTION, LEAK, inspection, spec

from analysis.reduction.modes import (
    failure_found,
    gravest,
    is_clean,
    mode_named,
    mode_seen_as,
    needs_inspection,
    sees_dry_unit,
)

FITTING = LEAK | {"name": "FITTING_LEAK", "relevant": False}


def test_the_gravest_mode_is_critical_before_relevant_before_not() -> None:
    modes = spec(DECAY | {"relevant": False, "name": "A"}, DECAY, BURST).failure.modes
    assert gravest(modes) == modes[2]
    assert gravest(modes[:2]) == modes[1]
    assert gravest([]) is None


def test_an_unanalysed_failure_takes_the_gravest_mode_that_shows_in_its_way() -> None:
    chosen = spec(FITTING, LEAK, BURST)
    assert mode_seen_as(chosen, "LEAK").name == "ROD_LEAK"
    assert mode_seen_as(chosen, "FUNCTION") is None
    assert mode_named(chosen, "FITTING_LEAK").relevant is False
    assert mode_named(chosen, None) is None


def test_a_leak_fails_from_the_class_of_the_specification() -> None:
    chosen = spec(LEAK)
    assert failure_found(inspection(leak_class=3), chosen) is None
    assert failure_found(inspection(leak_class=4), chosen).name == "ROD_LEAK"
    assert failure_found(inspection(leak_class=None), chosen) is None


def test_a_named_mode_goes_before_the_gravest() -> None:
    found = failure_found(
        inspection(leak_class=5, failure_mode="FITTING_LEAK"), spec(FITTING, LEAK)
    )
    assert found.name == "FITTING_LEAK"


def test_a_failed_function_check_is_a_failure_of_its_mode() -> None:
    assert failure_found(inspection(function_check="FAIL"), spec(LEAK, FUNCTION)).name == "SPRING"


def test_only_a_look_at_all_that_can_hide_is_clean() -> None:
    chosen = spec(LEAK, FUNCTION)
    assert is_clean(inspection(), chosen)
    assert not is_clean(inspection(leak_class=None), chosen)
    assert not is_clean(inspection(function_check=None), chosen)
    assert not is_clean(inspection(leak_class=4), chosen)
    assert is_clean(inspection(function_check=None), spec(LEAK))


def test_relevant_modes_found_by_people_need_inspections() -> None:
    assert needs_inspection(spec(DECAY, LEAK))
    assert not needs_inspection(spec(DECAY, FITTING))


def test_a_dry_unit_is_below_the_class_that_fails_or_where_drops_fall() -> None:
    assert sees_dry_unit(inspection(leak_class=3, function_check=None), spec(LEAK))
    assert not sees_dry_unit(inspection(leak_class=None), spec(LEAK))
    without = spec(DECAY, failure={"leak_class_fails_at": None})
    assert sees_dry_unit(inspection(leak_class=3), without)
    assert not sees_dry_unit(inspection(leak_class=4), without)
    strict = spec(LEAK, failure={"leak_class_fails_at": 2})
    assert not sees_dry_unit(inspection(leak_class=2), strict)
