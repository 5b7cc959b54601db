"""Do the lives of a lot look like two populations, a few weak units among sound ones?"""

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from scipy import optimize

from analysis.checks import BoolArray, FloatArray
from analysis.statistics.life_fit import life_fit
from analysis.statistics.life_records import LifeRecords
from analysis.statistics.standard_forms import ExtremeValue
from schemas.estimates import NotEstimable
from schemas.fits import LifeFit
from schemas.populations import MixtureFlag, SuspectLife

LEAST_FAILURES = 4
"""With fewer failures two populations cannot be told from one."""
MOST_WEAK = 0.5
"""The weak part is at most this share of the units; else the rest would be the odd one."""
FALSE_ALARM_CHANCE = 0.05
THRESHOLD = 8.5
"""Gain (twice the log-likelihood) above which two parts are suspected; see `mixture_flag`."""
_LARGEST_GAP = 30.0  # of the parts' a: hazards e**30 apart; more cannot be told.
_BOUNDS = (
    (-_LARGEST_GAP, _LARGEST_GAP),
    (0.0, _LARGEST_GAP),
    (math.log(0.5), math.log(8.0)),  # ln of the shape over that of the single fit
    (1e-3, MOST_WEAK),
)
_STARTS = ((0.0, 1.3), (0.15, 2.5), (0.4, 1.3), (0.4, 3.5), (0.99, 1.8))
"""Where the search starts: share of the failures taken as weak, shape over the single fit's."""
_SOUND_START = 0.3  # ln(scale) of the sound part, over the single fit's spread, from its own
_NARROW = 1e-6  # A bracket this narrow, over its count, is an exact life.


class _Lives(NamedTuple):
    """Log cycles from the single fit's location, over its spread, by kind of life."""

    exact: FloatArray
    unbroken: FloatArray
    failed_by: FloatArray
    low: FloatArray
    high: FloatArray
    counts: FloatArray  # of all lives, in that order


class _Terms(NamedTuple):
    """Log-likelihood of each life in one part, and its derivatives by a and ln b."""

    value: FloatArray
    by_a: FloatArray
    by_log_b: FloatArray


def mixture_flag(records: LifeRecords) -> MixtureFlag | NotEstimable:
    """
    Whether a lot looks like a weak part among sound units; a flag with its evidence.

    Parameters
    ----------
    records : LifeRecords
        Lives of one lot, at least four of them failures. Cycles.

    Returns
    -------
    MixtureFlag or NotEstimable
        ``TOO_FEW_FAILURES`` below four failures, else the reasons of `life_fit`.
        Nothing is ever decided by the flag: look at the suspects, at their component
        batches and at what broke.

    Notes
    -----
    Compared are one Weibull and two Weibulls of one shape, a share of at most half of the
    units having the shorter scale. The statistic is twice the gain in log-likelihood. Its
    distribution for a single Weibull does not depend on scale or shape (both only shift
    and stretch log lives), but is no chi-square: the second part vanishes at the edge
    of its range. The threshold is taken from simulation instead. Share of single Weibull
    lots above it (300 to 500 each, standard error 0.01): 0.04 for 10 units all failed,
    0.03 for 12 and 0.02 for 20 half of them stopped, 0.04 for 30 with 80 % stopped, 0.02
    for 15 inspected units. So a false alarm has a chance of at most about 0.05.

    Chance to flag a lot with weak units at a fifth of the scale (200 lots each): 20 units
    all failed, 10 % weak: 0.06 at shape 2, 0.14 at shape 3; half stopped: 0.09 at shape
    3. 30 units, 20 % weak, shape 3: 0.51 all failed, 0.21 with 70 % stopped. 12 units,
    20 % weak, shape 2.5, 60 % stopped: 0.09.

    Weak units are thus mostly missed in lots of this size, and no flag is no proof of
    one population. Where component batches or stations are known, compare those
    (`population_tests`, `log_rank_test`): that sees far more. Other departures from a
    Weibull, such as two modes of different shape, can raise the flag too.

    References
    ----------
    .. [1] G. J. McLachlan, D. Peel, "Finite Mixture Models", 2000, chapter 6. (On the
           distribution of the statistic; from memory.)

    Examples
    --------
    Three units that failed long before nine others, the last of which was stopped:

    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> lot = lives_with_run_outs(
    ...     [6e3, 7e3, 9e3, 82e3, 91e3, 104e3, 110e3, 117e3, 125e3, 131e3, 140e3, 150e3],
    ...     [True] * 11 + [False],
    ... )
    >>> flag = mixture_flag(lot)
    >>> flag.flagged, round(flag.weak_share, 2), [life.low_cycles for life in flag.suspects]
    (True, 0.25, [6000.0, 7000.0, 9000.0])
    """
    if 0 < records.failure_count < LEAST_FAILURES:
        return NotEstimable(reason="TOO_FEW_FAILURES")
    single = life_fit(records, "WEIBULL")
    if isinstance(single, NotEstimable):
        return single
    lives = _standardised(records, single)
    value, found = _best_mixture(lives)
    alone = float(lives.counts @ _terms(lives, 0.0, 1.0).value)
    statistic = max(0.0, 2.0 * (value - alone))
    return _answer(records, single, lives, found, statistic)


def _standardised(records: LifeRecords, single: LifeFit) -> _Lives:
    """Log lives on the scale of the single fit, so that every lot looks alike to the search."""
    low, high, counts = records.low_cycles, records.high_cycles, records.counts
    kinds = _kinds(records)
    exact, unbroken, failed_by, between = kinds

    def logs(cycles: FloatArray) -> FloatArray:
        return (np.log(cycles) - single.location) / single.spread

    return _Lives(
        exact=logs(0.5 * (low[exact] + high[exact])),
        unbroken=logs(low[unbroken]),
        failed_by=logs(high[failed_by]),
        low=logs(low[between]),
        high=logs(high[between]),
        counts=np.concatenate([counts[kind] for kind in kinds]),
    )


def _kinds(records: LifeRecords) -> tuple[BoolArray, BoolArray, BoolArray, BoolArray]:
    """Which lives are exact, unbroken, failed by their first look, and bracketed."""
    low, high = records.low_cycles, records.high_cycles
    unbroken = np.isinf(high)
    failed_by = (low == 0.0) & ~unbroken
    exact = ~unbroken & ~failed_by & (high - low <= _NARROW * high)
    return exact, unbroken, failed_by, ~(exact | unbroken | failed_by)


def _terms(lives: _Lives, a: float, b: float) -> _Terms:
    """Log-likelihood of each life at z = b y - a."""
    parts = []
    if lives.exact.size:
        exact = ExtremeValue.density(b * lives.exact - a)
        by_log_b = 1.0 + b * lives.exact * exact.first
        parts.append(_Terms(exact.value + math.log(b), -exact.first, by_log_b))
    for y, form in (
        (lives.unbroken, ExtremeValue.survival),
        (lives.failed_by, ExtremeValue.failed_by),
    ):
        if y.size:
            terms = form(b * y - a)
            parts.append(_Terms(terms.value, -terms.first, b * y * terms.first))
    if lives.low.size:
        low = b * lives.low - a
        # Nobody survives to z = 600: beyond it a far high end would only overflow.
        width = np.minimum(b * (lives.high - lives.low), np.maximum(600.0 - low, 1.0))
        bracket = ExtremeValue.bracket(low, width)
        by_log_b = b * (lives.low * bracket.by_low + lives.high * bracket.by_high)
        parts.append(_Terms(bracket.value, -bracket.by_low - bracket.by_high, by_log_b))
    return _Terms(*(np.concatenate(each) for each in zip(*parts, strict=True)))


def _fall(at: FloatArray, lives: _Lives) -> tuple[float, FloatArray]:
    """
    Minus the log-likelihood of two parts, and its gradient.

    `at` holds the sound part's a, how far below it the weak part's lies, ln b of both
    and the share of the weak part.
    """
    share = float(at[3])
    sound, weak, total = _parts(lives, at)
    weak_chance = np.exp(weak.value + math.log(share) - total) * lives.counts
    sound_chance = lives.counts - weak_chance
    slope_weak = weak_chance @ weak.by_a
    gradient = np.array(
        [
            sound_chance @ sound.by_a + slope_weak,
            -slope_weak,
            sound_chance @ sound.by_log_b + weak_chance @ weak.by_log_b,
            weak_chance.sum() / share - sound_chance.sum() / (1.0 - share),
        ]
    )
    return -float(lives.counts @ total), -gradient


def _parts(lives: _Lives, at: FloatArray) -> tuple[_Terms, _Terms, FloatArray]:
    """Terms of the sound and of the weak part, and the log-likelihood of each life in both."""
    a, gap, log_b, share = (float(each) for each in at)
    b = math.exp(log_b)
    sound, weak = _terms(lives, a, b), _terms(lives, a - gap, b)
    total = np.logaddexp(sound.value + math.log1p(-share), weak.value + math.log(share))
    return sound, weak, total


def _best_mixture(lives: _Lives) -> tuple[float, FloatArray]:
    """Largest log-likelihood of two parts over several starts, and where."""
    best = math.inf
    place = np.zeros(4)
    for start in _starts(lives):
        found = optimize.minimize(
            _fall,
            start,
            args=(lives,),
            jac=True,
            method="L-BFGS-B",
            bounds=_BOUNDS,
            options={"maxiter": 300},
        )
        if found.fun < best:
            best, place = float(found.fun), np.asarray(found.x, dtype=np.float64)
    return -best, place


def _starts(lives: _Lives) -> Iterator[list[float]]:
    """The first few failures taken as the weak part, for several shares and shapes."""
    middles = 0.5 * (lives.low + lives.high)
    ends = np.concatenate([lives.exact, lives.failed_by, middles])
    unbroken = np.s_[lives.exact.size : lives.exact.size + lives.unbroken.size]
    order = np.argsort(ends)
    ends, reached = ends[order], np.cumsum(np.delete(lives.counts, unbroken)[order])
    units = float(lives.counts.sum())
    for failures_weak, b in _STARTS:
        index = min(int(np.searchsorted(reached, failures_weak * reached[-1])), ends.size - 1)
        share = min(MOST_WEAK, float(reached[index]) / units)
        gap = _SOUND_START * b - b * float(ends[: index + 1].mean())
        yield [_SOUND_START * b, min(max(gap, 0.5), _LARGEST_GAP), math.log(b), share]


def _answer(
    records: LifeRecords, single: LifeFit, lives: _Lives, found: FloatArray, statistic: float
) -> MixtureFlag:
    """The flag in cycles, with the failures more likely of the weak part than not."""
    a, gap, log_b, share = (float(each) for each in found)
    b = math.exp(log_b)
    _, weak, total = _parts(lives, found)
    chances = np.exp(weak.value + math.log(share) - total)
    return MixtureFlag(
        flagged=statistic > THRESHOLD,
        statistic=statistic,
        threshold=THRESHOLD,
        false_alarm_chance=FALSE_ALARM_CHANCE,
        single_fit=single,
        shape=b * single.shape,
        weak_share=share,
        weak_scale_cycles=_cycles(single, (a - gap) / b),
        main_scale_cycles=_cycles(single, a / b),
        suspects=_suspects(records, chances),
        unit_count=records.unit_count,
        failure_count=records.failure_count,
    )


def _cycles(single: LifeFit, standardised: float) -> float:
    """Back from the single fit's scale to cycles."""
    return math.exp(min(single.location + single.spread * standardised, 709.0))


def _suspects(records: LifeRecords, chances: FloatArray) -> tuple[SuspectLife, ...]:
    """Failures whose chance to be of the weak part is above one half, earliest first."""
    kinds = _kinds(records)
    positions = np.concatenate([np.flatnonzero(kind) for kind in kinds])
    suspects = [
        SuspectLife(
            low_cycles=float(records.low_cycles[position]),
            high_cycles=float(records.high_cycles[position]),
            unit_count=int(records.counts[position]),
            weak_chance=float(chance),
        )
        for position, chance in zip(positions, chances, strict=True)
        if chance > 0.5 and math.isfinite(records.high_cycles[position])
    ]
    return tuple(sorted(suspects, key=lambda life: (life.high_cycles, life.low_cycles)))
