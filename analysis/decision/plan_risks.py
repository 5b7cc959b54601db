"""Exact risks of an approved plan, and what one more failure would do to a lot under it."""

import math
from collections.abc import Sequence
from functools import lru_cache

from msgspec import UNSET, structs
from scipy import special

from analysis.decision.attribute import (
    log_reliability_at_planned,
    reliability_at_planned,
    shows_requirement,
)
from analysis.decision.plan_stops import stops_in_target_lives, stops_in_units
from analysis.decision.reasons import Standing
from analysis.decision.terms import Terms
from analysis.statistics.finite_lot import finite_lot_acceptance, most_nonconforming
from analysis.statistics.sequential_exact import counted_outcome, lot_acceptance, timed_outcome
from schemas.plan_kinds import ChanceOfAcceptance, NextFailure, PlanRisks

_ALLOWED_SHARES = (2.0, 1.5, 1.25, 1.0, 0.8, 0.5, 0.2, 0.1, 0.05)
"""True failure rates of the operating curve, as multiples of the allowed one."""


def plan_risks(terms: Terms) -> PlanRisks:
    """
    Exact chances that a plan accepts, at its requirement and along its operating curve.

    Parameters
    ----------
    terms : Terms
        The requirement and its plan.

    Returns
    -------
    PlanRisks
        Chances at the worst shape of the range: what a lot at the requirement has at
        most, if its shape lies in the range.

    Raises
    ------
    OutsideDomainError
        If the plan cannot be made of its numbers.

    Notes
    -----
    Target lives are the clock of a Poisson process, so plans that end on them are summed
    exactly; plans by counting by carrying the chance of each count from unit to unit. A
    lot of known size is taken at one nonconforming unit too many.
    """
    bare = structs.replace(terms, bars_acceptance=False)
    return _plan_risks(bare)


@lru_cache(maxsize=128)
def _plan_risks(terms: Terms) -> PlanRisks:
    rates = [share * -math.log(terms.reliability) for share in _ALLOWED_SHARES]
    chances = chances_of_acceptance(terms, [math.exp(-rate) for rate in rates])
    curve = [
        ChanceOfAcceptance(true_reliability=math.exp(-rate), chance=chance)
        for rate, chance in zip(rates, chances, strict=True)
    ]
    at_requirement = curve[_ALLOWED_SHARES.index(1.0)].chance
    if terms.lot_size is not None:
        at_requirement = _chance_of_lot(terms)
    return PlanRisks(
        at_requirement=at_requirement,
        most_allowed=1.0 - terms.confidence,
        operating_curve=curve,
    )


def chances_of_acceptance(terms: Terms, true_reliabilities: Sequence[float]) -> list[float]:
    """Exact chance of acceptance at each true reliability at the target; of endless lots."""
    if terms.adds_target_lives:
        means = [-1.0 / math.log(true) for true in true_reliabilities]
        found = timed_outcome(stops_in_target_lives(terms), means)
        return [each.chance_of_acceptance for each in found]
    power = log_reliability_at_planned(terms, hardest=True) / math.log(terms.reliability)
    at_planned = [power * math.log(true) for true in true_reliabilities]
    if terms.kind == "ATTRIBUTE":
        return [_binomial(terms.unit_count, terms.allowed_failures, each) for each in at_planned]
    endless = stops_in_units(structs.replace(terms, lot_size=None))
    found = counted_outcome(endless, [math.exp(each) for each in at_planned])
    return [each.chance_of_acceptance for each in found]


def _binomial(unit_count: int, allowed_failures: int, log_reliability: float) -> float:
    """Chance of at most so many failures among so many units."""
    if allowed_failures >= unit_count:
        return 1.0
    fails = -math.expm1(log_reliability)
    return float(
        special.betaincc(allowed_failures + 1.0, float(unit_count - allowed_failures), fails)
    )


def _chance_of_lot(terms: Terms) -> float:
    """Chance that a lot with one nonconforming unit too many is accepted."""
    assert terms.lot_size is not None
    weak = most_nonconforming(terms.lot_size, reliability_at_planned(terms, hardest=True)) + 1
    if terms.kind == "ATTRIBUTE":
        return finite_lot_acceptance(
            terms.lot_size,
            min(terms.unit_count, terms.lot_size),
            nonconforming=weak,
            allowed_failures=terms.allowed_failures,
        )
    return lot_acceptance(stops_in_units(terms), terms.lot_size, nonconforming=weak)


def next_failure(standing: Standing, terms: Terms) -> NextFailure:
    """
    What one more relevant failure now would do.

    Parameters
    ----------
    standing : Standing
        Where the lot stands.
    terms : Terms
        The requirement and its plan.

    Returns
    -------
    NextFailure
        The sum, or the units in all, at which the plan would then accept.
    """
    failures = standing.failure_count + 1
    if failures > terms.most_failures:
        return NextFailure(refuses=True)
    if terms.adds_target_lives:
        stops = stops_in_target_lives(terms)
        line = stops.reject_totals.get(failures, 0.0)
        total = standing.target_lives or 0.0
        if failures >= len(stops.accept_totals) or total <= line:
            return NextFailure(refuses=True)
        return NextFailure(refuses=False, target_lives_required=stops.accept_totals[failures])
    units = _units_to_accept(terms, failures)
    return NextFailure(refuses=units is None, units_required=UNSET if units is None else units)


def _units_to_accept(terms: Terms, failures: int) -> int | None:
    """Finished units with which so many failures are accepted; None: never."""
    if terms.kind == "ATTRIBUTE":
        shown = shows_requirement(terms, terms.unit_count, failures)
        return terms.unit_count if shown else None
    accept_at = stops_in_units(terms).accept_at
    return next((n for n, most in enumerate(accept_at, start=1) if most >= failures), None)
