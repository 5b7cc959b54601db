"""
Rules of every kind of plan for many lots at once, written apart from the product.

Each rule gives two masks, lots accepted and lots refused; the rest goes on. Evidence comes from
incomplete gamma and beta functions, lines from their textbook formulas, quantiles from chi-square:
none of it is the product's code. Shape 2, requirement and confidence as `REQUIREMENT` says.
"""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from msgspec import Struct
from scipy import optimize, special, stats

RELIABILITY, CONFIDENCE, TARGET, SHAPE = 0.95, 0.90, 100_000, 2.0
RATE = -math.log(RELIABILITY)
PRIORS = {"CLEAN": (0.5, 8.0), "EVEN": (1.5, 8.0), "PATIENT": (4.0, 12.0)}
Mask = np.ndarray[Any, np.dtype[np.bool_]]


class LivesView(Struct, frozen=True, kw_only=True):
    """
    What is known of lots at a look under a plan that adds up target lives; one entry per lot.

    `failures_to_accept` counts overdue units as failed, `failures_to_refuse` does not;
    `sums_at_failures` are the sums at the known failures in order (infinite where there is
    none), `sums_to_accept` those with overdue units among them, `ended` tells that
    every place was taken and every unit has ended.
    """

    total: np.ndarray
    failures_to_accept: np.ndarray
    failures_to_refuse: np.ndarray
    sums_at_failures: np.ndarray
    sums_to_accept: np.ndarray
    ended: Mask


class CountView(Struct, frozen=True, kw_only=True):
    """The same by counting: one row per lot, one column per place in the order of starting."""

    passed: Mask
    failed_to_accept: Mask
    failed_to_refuse: Mask
    started: Mask
    ended: Mask


LivesRule = Callable[[LivesView], tuple[Mask, Mask]]
CountRule = Callable[[CountView], tuple[Mask, Mask]]


def fixed_sum(failures: int) -> float:
    """Target lives of a fixed plan: half a chi-square quantile over the allowed rate."""
    return float(stats.chi2.ppf(CONFIDENCE, 2 * failures + 2)) / 2 / RATE


def fixed_units(failures: int) -> int:
    """Units of a fixed plan by counting: the first with a binomial risk low enough."""
    sizes = np.arange(failures + 1, 2_000)
    chances = stats.binom.cdf(failures, sizes, 1 - RELIABILITY)
    return int(sizes[np.argmax(chances <= (1 - CONFIDENCE) * (1 + 1e-12))])


def two_stage_sum(first: float) -> float:
    """Sum of a second stage with one failure: e^-s1 + s1 e^-s2 = 1 - C, solved by hand."""
    begun = RATE * first
    return -math.log((1 - CONFIDENCE - math.exp(-begun)) / begun) / RATE


def sums_by_evidence(prior: str, allowed: int) -> list[float]:
    """Sums at which the evidence of an any-time plan is 1 / (1 - C)."""
    a, b = PRIORS[prior]

    def short_of(x: float, r: int) -> float:
        after = special.gammaln(a + r) - (a + r) * math.log(b + x)
        after += math.log(special.gammainc(a + r, b + x))
        before = special.gammaln(a) - a * math.log(b) + math.log(special.gammainc(a, b))
        return float(x + after - before + math.log(1 - CONFIDENCE))

    return [optimize.brentq(short_of, 0.0, 60.0, args=(r,)) / RATE for r in range(allowed + 1)]


def units_by_evidence(prior: str, allowed: int) -> list[int]:
    """Decided units with which the evidence of counts is 1 / (1 - C)."""
    a, b = PRIORS[prior]
    p0 = 1 - RELIABILITY
    big = 1 + b / p0

    def found(n: int, r: int) -> float:
        after = special.betaln(a + r, big + n - r)
        after += math.log(special.betainc(a + r, big + n - r, p0))
        before = special.betaln(a, big) + math.log(special.betainc(a, big, p0))
        return float(after - before - r * math.log(p0) - (n - r) * math.log1p(-p0))

    enough = -math.log(1 - CONFIDENCE)
    return [
        next(n for n in range(r + 1, 3_000) if found(n, r) >= enough) for r in range(allowed + 1)
    ]


def by_sums(accept: list[float], *, refuse: dict[int, float] | None = None) -> LivesRule:
    """Accept a number of failures from its sum; refuse one more, and those at a line."""
    sums = np.array([*accept, np.inf])
    lines = np.zeros(len(accept))
    for number, line in (refuse or {}).items():
        lines[number - 1] = line

    def meets_line(at: np.ndarray) -> Mask:
        width = min(lines.size, at.shape[1])
        found: Mask = (at[:, :width] <= lines[:width]).any(axis=1)
        return found

    def rule(view: LivesView) -> tuple[Mask, Mask]:
        refused = view.failures_to_refuse >= len(accept)
        refused |= meets_line(view.sums_at_failures)
        needed = sums[np.minimum(view.failures_to_accept, len(accept))]
        accepted = ~refused & (view.total >= needed * (1 - 1e-12))
        accepted &= ~meets_line(view.sums_to_accept)
        return accepted, refused | (view.ended & ~accepted)

    return rule


def sequential_sums(
    good: float, producer: float, consumer: float, *, last: float, allowed: int
) -> LivesRule:
    """Wald's test of two rates: lines in the sum, cut at the last one."""
    spread = RATE + math.log(good)
    slope = math.log(RATE / -math.log(good)) / spread
    low = math.log((1 - producer) / consumer) / spread
    high = math.log((1 - consumer) / producer) / spread
    refuse = {r: min(slope * r - high, last) for r in range(1, allowed + 1)}
    return by_sums([min(low + slope * r, last) for r in range(allowed + 1)], refuse=refuse)


def whole_lives(rule: LivesRule) -> CountRule:
    """A rule on target lives where each unit that passed the target counts one, others none."""

    def counted(view: CountView) -> tuple[Mask, Mask]:
        no_lines = np.empty((view.passed.shape[0], 0))
        return rule(
            LivesView(
                total=view.passed.sum(axis=1),
                failures_to_accept=view.failed_to_accept.sum(axis=1),
                failures_to_refuse=view.failed_to_refuse.sum(axis=1),
                sums_at_failures=no_lines,
                sums_to_accept=no_lines,
                ended=view.ended,
            )
        )

    return counted


def fixed_count(units: int, allowed: int) -> CountRule:
    """Curtailed fixed plan: decided as soon as no other unit could change it."""

    def rule(view: CountView) -> tuple[Mask, Mask]:
        refused = view.failed_to_refuse.sum(axis=1) > allowed
        return ~refused & (units - view.passed.sum(axis=1) <= allowed), refused

    return rule


def count_in_any_order(needed: list[int]) -> CountRule:
    """Accept a number of failures among so many decided units, whichever units they are."""
    limits = np.array(needed)

    def rule(view: CountView) -> tuple[Mask, Mask]:
        refused = view.failed_to_refuse.sum(axis=1) >= len(needed)
        failures = view.failed_to_accept.sum(axis=1)
        decided = view.passed.sum(axis=1) + failures
        enough = decided >= limits[np.minimum(failures, len(needed) - 1)]
        accepted = ~refused & enough & (failures < len(needed))
        return accepted, refused | (view.ended & ~accepted)

    return rule


def count_in_order(accept_at: list[int], refuse_at: list[int], allowed: int) -> CountRule:
    """Accept or refuse at the first stop that the units meet in the order of starting."""
    low, high = np.array(accept_at), np.array(refuse_at)

    def first_stop(failed: Mask, started: Mask) -> tuple[Mask, Mask]:
        failures = failed.cumsum(axis=1)
        takes, gives_up = started & (failures <= low), started & (failures >= high)
        stops = takes | gives_up
        at = stops.argmax(axis=1)[:, None]
        met = stops.any(axis=1)
        return (
            met & np.take_along_axis(takes, at, axis=1)[:, 0],
            met & ~np.take_along_axis(takes, at, axis=1)[:, 0],
        )

    def rule(view: CountView) -> tuple[Mask, Mask]:
        refused = view.failed_to_refuse.sum(axis=1) > allowed
        refused |= first_stop(view.failed_to_refuse, view.started)[1]
        accepted = ~refused & first_stop(view.started & ~view.passed, view.started)[0]
        accepted &= view.failed_to_accept.sum(axis=1) <= allowed
        return accepted, refused | (view.ended & ~accepted)

    return rule


def two_stage_count(first: int, added: int) -> CountRule:
    """None among the first, or one among all."""
    accept_at = [-1] * (first + added)
    accept_at[first - 1], accept_at[-1] = 0, 1
    return count_in_order(accept_at, [2] * (first + added), 1)


def sequential_count(
    good: float, producer: float, consumer: float, *, units: int, allowed: int
) -> CountRule:
    """Wald's test of two failure fractions, cut after the last unit."""
    gain = math.log((1 - RELIABILITY) / (1 - good)) + math.log(good / RELIABILITY)
    slope = math.log(good / RELIABILITY) / gain
    low, high = math.log((1 - producer) / consumer) / gain, math.log((1 - consumer) / producer)
    numbers = range(1, units)
    accept_at = [max(-1, math.floor(slope * n - low + 1e-12)) for n in numbers]
    refuse_at = [math.ceil(slope * n + high / gain - 1e-12) for n in numbers]
    return count_in_order([*accept_at, allowed], [*refuse_at, allowed + 1], allowed)
