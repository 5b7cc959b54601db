"""New tests that would show the requirement: each needs a new specification and new units."""

import math
from collections.abc import Sequence

from analysis.decision.terms import Terms, target_lives_each
from analysis.statistics.rounding import round_up
from analysis.statistics.success_run import units_required_at
from analysis.statistics.weibayes import target_lives_required
from schemas.decisions import WayToFinish

_ALLOWED_FAILURES = (0, 1)
"""What a fresh test may allow here; plans with more are asked for on their own."""


def options_needing_new_spec(terms: Sequence[Terms]) -> list[WayToFinish]:
    """
    Fresh tests that show every requirement with its confidence.

    Parameters
    ----------
    terms : sequence of Terms
        One or more, one per requirement of the present specification.

    Returns
    -------
    list of WayToFinish
        By counting at the (largest) target, and by target lives to the present planned
        cycles where these lie beyond the target and a shape is assumed.

    Notes
    -----
    None of them goes on with units already seen: an extension that was not paid for in
    advance does not keep the confidence. A variables test states as many units as
    reach the sum of target lives at the worst shape even if every allowed failure
    came before its first cycle.

    Examples
    --------
    At R 0.95 and C 0.90, shape 2 or more, run to twice the target: 12 units without a
    failure or 20 with one; by counting, 45 or 77.
    """
    longest = max(each.target_cycles for each in terms)
    by_counting = [
        WayToFinish(
            kind="NEW_ATTRIBUTE_TEST",
            unit_count=(units := max(_units_by_counting(each, allowed) for each in terms)),
            cycles_each=longest,
            cycles_in_all=units * longest,
            allowed_failures=allowed,
        )
        for allowed in _ALLOWED_FAILURES
    ]
    planned = max(each.planned_cycles for each in terms)
    if terms[0].shape is None or planned <= longest:
        return by_counting
    return by_counting + [
        WayToFinish(
            kind="NEW_WEIBAYES_TEST",
            unit_count=(units := max(_units_by_target_lives(each, allowed) for each in terms)),
            cycles_each=planned,
            cycles_in_all=units * planned,
            allowed_failures=allowed,
        )
        for allowed in _ALLOWED_FAILURES
    ]


def _units_by_counting(terms: Terms, allowed_failures: int) -> int:
    return units_required_at(
        math.log(terms.reliability), terms.confidence, allowed_failures=allowed_failures
    )


def _units_by_target_lives(terms: Terms, allowed_failures: int) -> int:
    assert terms.shape is not None
    required = target_lives_required(
        terms.reliability, terms.confidence, allowed_failures=allowed_failures
    )
    # Beyond the target a unit is worth least at the lowest shape of the range.
    each = target_lives_each(terms.life_ratio, terms.shape.shape_low)
    return max(1, round_up(required / each)) + allowed_failures
