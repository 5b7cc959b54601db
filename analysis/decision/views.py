"""What each way of arguing would say of a lot; only the plan's own view decides."""

from collections.abc import Sequence
from typing import Literal

from analysis.decision.attribute import attribute_view_at_target
from analysis.decision.counting import LotState, counted_in_full
from analysis.decision.reasons import Judgement
from analysis.decision.terms import Terms
from analysis.decision.weibayes_plan import read_clock
from analysis.statistics.rounding import reaches
from analysis.statistics.weibayes import reaches_requirement
from schemas.decisions import AttributeView, Views

Argument = Literal["ACCEPT", "CONTINUE", "NOT_DEMONSTRATED", "SHOWN_BELOW_REQUIREMENT"]
_WORST_FIRST: tuple[Argument, ...] = (
    "SHOWN_BELOW_REQUIREMENT",
    "NOT_DEMONSTRATED",
    "CONTINUE",
    "ACCEPT",
)


def views_of(state: LotState, terms: Terms, judgement: Judgement) -> Views:
    """
    Both ways of arguing about one requirement, the plan's own first.

    Parameters
    ----------
    state : LotState
        The outcomes of the lot's units, holds at their headline.
    terms : Terms
        The requirement and its plan.
    judgement : Judgement
        What the plan says of this state.

    Returns
    -------
    Views

    Notes
    -----
    The plan's own view repeats its verdict. The attribute view beside a variables plan
    compares the limits at the target with the requirement. The variables view beside a
    plan by counting argues with whole lives: cycles beyond the planned count are
    credited, and therefore a failure beyond it counts too. It is the verdict of a
    variables plan with the same number of allowed failures; the figures of the
    variables view, by contrast, stop at the planned cycles as the plan does. One failure
    in a run-on can so be nothing to the plan and still leave the variables argument
    undemonstrated.
    """
    own = _own(judgement)
    is_finished = judgement.verdict != "CONTINUE" or state.has_ended(terms)
    if terms.adds_target_lives:
        view = attribute_view_at_target(state.outcomes, terms)
        return Views(
            decides="VARIABLES",
            attribute=_by_limits(view, terms, is_finished=is_finished),
            variables=own,
        )
    if terms.shape is None:
        return Views(decides="ATTRIBUTE", attribute=own)
    return Views(
        decides="ATTRIBUTE",
        attribute=own,
        variables=_by_whole_lives(state, terms, is_finished=is_finished),
    )


def worst_views(views: Sequence[Views]) -> Views:
    """Views on several requirements: each way of arguing must hold for all of them."""
    attribute = min((view.attribute for view in views), key=_WORST_FIRST.index)
    variables = [view.variables for view in views if view.variables]
    if not variables:
        return Views(decides=views[0].decides, attribute=attribute)
    return Views(
        decides=views[0].decides,
        attribute=attribute,
        variables=min(variables, key=_WORST_FIRST.index),
    )


def _own(judgement: Judgement) -> Argument:
    """The plan's verdict as an argument; one that only came too late is still an argument."""
    if judgement.kind is not None:
        return judgement.kind
    return "CONTINUE" if judgement.verdict == "CONTINUE" else "ACCEPT"


def _by_limits(view: AttributeView, terms: Terms, *, is_finished: bool) -> Argument:
    if reaches(view.reliability_lower_of_decided, terms.reliability):
        return "ACCEPT"
    if not reaches(view.reliability_upper, terms.reliability):
        return "SHOWN_BELOW_REQUIREMENT"
    return "NOT_DEMONSTRATED" if is_finished else "CONTINUE"


def _by_whole_lives(state: LotState, terms: Terms, *, is_finished: bool) -> Argument:
    lives = counted_in_full(state.outcomes, terms)
    clock = read_clock(lives, terms)
    if not reaches(clock.reliability_upper, terms.reliability):
        return "SHOWN_BELOW_REQUIREMENT"
    if lives.failure_count <= terms.most_failures and reaches_requirement(
        clock.least.target_lives, clock.required
    ):
        return "ACCEPT"
    return "NOT_DEMONSTRATED" if is_finished else "CONTINUE"
