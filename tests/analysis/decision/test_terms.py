"""References: arithmetic by hand."""

import msgspec
import pytest
from lives import spec

from analysis.decision.terms import planned_cycles, target_lives_each, terms_of
from analysis.errors import OutsideDomainError

PLAN = {"unit_count": 12, "allowed_failures": 0, "credit": "TO_PLANNED"}
SHAPE = (2.0, 2.2, 2.6)


def test_planned_cycles_are_those_of_the_plan_stated_or_by_the_life_ratio() -> None:
    planned = []
    for length in ({"planned_cycles": 200_000}, {"life_ratio": 1.5}):
        each = spec("WEIBAYES", (0.95, 0.9, 100_000), shape=SHAPE, plan=PLAN | length)
        planned.append(terms_of(each, each.requirement[0], after_data=False).planned_cycles)
    assert planned == [200_000, 150_000]


def test_a_planned_length_is_one_cycle_at_least() -> None:
    each = spec("WEIBAYES", (0.95, 0.9, 100), shape=SHAPE, plan=PLAN | {"life_ratio": 1e-12})
    assert planned_cycles(each.plan, 100) == 1


def test_without_a_number_of_spares_no_more_units_than_declared_may_run() -> None:
    stated = spec("WEIBAYES", (0.95, 0.9, 100), shape=SHAPE, plan=PLAN | {"planned_cycles": 200})
    with_spares = msgspec.structs.replace(
        stated, plan=msgspec.structs.replace(stated.plan, max_units=15)
    )
    units = [
        terms_of(each, each.requirement[0], after_data=False).max_units
        for each in (stated, with_spares)
    ]
    assert units == [12, 15]


def test_credit_stops_at_the_planned_cycles_or_at_the_target() -> None:
    last = []
    for credit in ("TO_PLANNED", "ONCE_AT_TARGET"):
        plan = PLAN | {"planned_cycles": 200, "credit": credit}
        each = spec("WEIBAYES", (0.95, 0.9, 100), shape=SHAPE, plan=plan)
        last.append(terms_of(each, each.requirement[0], after_data=False).last_credited_cycles)
    assert last == [200, 100]


def test_a_specification_that_came_late_bars_acceptance_only_where_it_says_so() -> None:
    barred = []
    for before, after in ((True, True), (True, False), (False, True)):
        plan = PLAN | {"planned_cycles": 200}
        each = spec("WEIBAYES", (0.95, 0.9, 100), shape=SHAPE, plan=plan, spec_before_data=before)
        barred.append(terms_of(each, each.requirement[0], after_data=after).bars_acceptance)
    assert barred == [True, False, False]


@pytest.mark.parametrize(("kind", "planned"), [("WEIBAYES", 100), ("ATTRIBUTE", 150)])
def test_a_plan_that_needs_a_shape_is_refused_without_one(kind: str, planned: int) -> None:
    plan = {"unit_count": 12, "allowed_failures": 0, "planned_cycles": planned}
    each = spec(kind, (0.95, 0.9, 100), shape=None, plan=plan)  # type: ignore[arg-type]
    with pytest.raises(OutsideDomainError, match="shape"):
        terms_of(each, each.requirement[0], after_data=False)


def test_several_requirements_share_one_length_of_test() -> None:
    each = spec(
        "WEIBAYES",
        (0.95, 0.9, 100),
        (0.99, 0.9, 50),
        shape=SHAPE,
        plan=PLAN | {"planned_cycles": 200},
    )
    ratios = [terms_of(each, r, after_data=False).life_ratio for r in each.requirement]
    assert ratios == [2.0, 4.0]


def test_target_lives_of_one_unit_stay_a_number_at_any_length() -> None:
    assert target_lives_each(2.0, 3.0) == pytest.approx(8.0, rel=1e-14)
    assert 0.0 < target_lives_each(2.0**53, 50.0) < float("inf")
