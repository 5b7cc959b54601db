"""Both ways of arguing stand beside each other; only the plan's own decides."""

from typing import Any

import pytest
from lives import outcome, spec

from analysis.decision.counting import LotState
from analysis.decision.terms import Terms, terms_of
from analysis.decision.verdict import judge
from analysis.decision.views import views_of, worst_views
from schemas.decisions import Views
from schemas.lives import Outcome


def terms(kind: Any, units: int, planned: int, *, with_shape: bool = True) -> Terms:
    plan: dict[str, Any] = {"unit_count": units, "allowed_failures": 0, "planned_cycles": planned}
    if kind == "WEIBAYES":
        plan["credit"] = "TO_PLANNED"
    shape = (1.5, 1.8, 2.2) if with_shape else None
    each = spec(kind, (0.8, 0.9, 1_000), shape=shape, plan=plan)
    return terms_of(each, each.requirement[0], after_data=False)


def views(results: list[Outcome], plan: Terms) -> Views:
    state = LotState(
        outcomes=results,
        serials=[""] * len(results),
        place_count=len(results),
        has_started=True,
        end_checks_due=[],
    )
    return views_of(state, plan, judge(state, plan))


def test_a_late_failure_leaves_the_variables_argument_undemonstrated() -> None:
    # Eleven survivors of the target show 0.811; with the run-on one of them failed.
    results = [outcome("RUN_OUT", 1_200)] * 10 + [outcome("FAILED", 1_150)]
    by_counting = views(results, terms("ATTRIBUTE", 11, 1_000))
    assert (by_counting.decides, by_counting.attribute, by_counting.variables) == (
        "ATTRIBUTE",
        "ACCEPT",
        "NOT_DEMONSTRATED",
    )
    by_lives = views(results, terms("WEIBAYES", 11, 1_200))
    assert (by_lives.decides, by_lives.attribute, by_lives.variables) == (
        "VARIABLES",
        "ACCEPT",
        "NOT_DEMONSTRATED",
    )


def test_a_cheap_plan_is_accepted_where_counting_would_show_too_little() -> None:
    # Four units to twice the target: 4 * 2**1.5 = 11.3 target lives of the 10.3 required.
    view = views([outcome("RUN_OUT", 2_000)] * 4, terms("WEIBAYES", 4, 2_000))
    assert (view.attribute, view.variables) == ("NOT_DEMONSTRATED", "ACCEPT")


def test_an_unfinished_plan_leaves_both_arguments_open() -> None:
    running = [outcome("RUNNING", 500)] * 11
    for plan in (terms("WEIBAYES", 11, 1_200), terms("ATTRIBUTE", 11, 1_000)):
        view = views(running, plan)
        assert (view.attribute, view.variables) == ("CONTINUE", "CONTINUE")


def test_a_plan_by_counting_without_a_shape_has_no_variables_argument() -> None:
    view = views([outcome("RUN_OUT", 1_000)] * 11, terms("ATTRIBUTE", 11, 1_000, with_shape=False))
    assert view.attribute == "ACCEPT"
    assert not view.variables


@pytest.mark.parametrize("kind", ["WEIBAYES", "ATTRIBUTE"])
def test_many_failures_show_the_lot_below_by_both(kind: str) -> None:
    results = [outcome("FAILED", 300)] * 7 + [outcome("RUN_OUT", 1_000)] * 4
    view = views(results, terms(kind, 11, 1_000))
    assert (view.attribute, view.variables) == ("SHOWN_BELOW_REQUIREMENT",) * 2


def test_each_argument_must_hold_for_every_requirement() -> None:
    both = Views(decides="VARIABLES", attribute="ACCEPT", variables="CONTINUE")
    other = Views(decides="VARIABLES", attribute="NOT_DEMONSTRATED", variables="ACCEPT")
    assert worst_views([both, other]) == Views(
        decides="VARIABLES", attribute="NOT_DEMONSTRATED", variables="CONTINUE"
    )
    plain = Views(decides="ATTRIBUTE", attribute="ACCEPT")
    assert worst_views([plain, plain]) == plain
