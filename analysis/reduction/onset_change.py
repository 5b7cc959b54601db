"""The change itself: a one-sided sum of excess over blocks, and the bracket around its start."""

import numpy as np
from msgspec import Struct

from analysis.checks import FloatArray

FEWEST_OVER = 2
"""Blocks in a row over the dead band before onset can count as established."""
BLOCKS_AFTER_ALARM = 60
MOST_AFTER_ALARM = 12
"""How far after the alarm blocks over the dead band may still sharpen the slope, and how many at
most. A leak that comes and goes shows its slope only over several spells; later blocks change
nothing."""
FEWEST_ON_LINE = 4
LEAST_SIGNIFICANCE = 3.0
"""The line through the blocks is taken when it rests on so many of them and its slope on so
many standard errors; else the slope is the rise from the last clean block to the alarm."""


class Change(Struct, frozen=True, kw_only=True):
    """
    Where a series of blocks left its baseline.

    `clean` is the place of the last block before the alarm that lay within the dead band,
    -1 where none did; `alarm` the place of the block that gave the alarm; `established`
    that of the second block in a row over the dead band: the alarm confirms that growth
    had begun by then.
    """

    clean: int
    established: int
    alarm: int
    alarm_sum_mpa: float
    growth: "Growth"


class Growth(Struct, frozen=True, kw_only=True):
    """
    Line of growth: MPa per counted cycle, and the counted cycle at which it leaves the baseline.

    `zero_error` is the standard error of that cycle, 0 where the line is a mere rise from
    one block to another. A slope of 0 stands for no rise that could be told.
    """

    slope_mpa: float
    zero_at: float
    zero_error: float = 0.0


def alarm_sum(excess: FloatArray, dead_band_mpa: float) -> FloatArray:
    """
    Sum of what exceeds the dead band, begun anew whenever it would fall below 0.

    Parameters
    ----------
    excess : array of float, shape (n,)
        Decay over the baseline, block by block. MPa.
    dead_band_mpa : float, > 0
        What a sound unit may show.

    Returns
    -------
    array of float, shape (n,)
        ``S[i] = max(0, S[i - 1] + excess[i] - dead_band_mpa)``.

    Notes
    -----
    Page's one-sided cumulative sum with an engineering dead band as its allowance
    (E. S. Page, Biometrika 41, 1954; from memory). Written without a loop as the running
    sum less its lowest value so far.

    Examples
    --------
    >>> alarm_sum(np.array([0.0, 0.25, 0.5, 0.0]), 0.125).tolist()
    [0.0, 0.125, 0.5, 0.375]
    """
    running = np.cumsum(excess - dead_band_mpa)
    return np.asarray(running - np.minimum(np.minimum.accumulate(running), 0.0))


def first_change(
    middle: FloatArray,
    excess: FloatArray,
    *,
    dead_band_mpa: float,
    alarm_mpa: float,
    least_rise_mpa: float,
) -> Change | None:
    """
    First sustained rise of a series of blocks over its baseline.

    Parameters
    ----------
    middle : array of float, shape (n,), increasing
        Middle of each block. Counted cycles.
    excess : array of float, shape (n,)
        Decay over the baseline. MPa.
    dead_band_mpa, alarm_mpa : float, > 0, keyword only
        As in `alarm_sum`; the alarm needs a sum of `alarm_mpa`.
    least_rise_mpa : float, >= 0, keyword only
        The alarm block and the one before it must both lie over the dead band by so much:
        a level that stays just over the dead band for long is no growth.

    Returns
    -------
    Change or None
        None where no block meets both.
    """
    total = alarm_sum(excess, dead_band_mpa)
    over = excess > dead_band_mpa
    risen = over & (excess >= dead_band_mpa + least_rise_mpa)
    risen[1:] &= risen[:-1].copy()
    risen[:1] = False
    alarms = np.flatnonzero((total >= alarm_mpa) & risen)
    if not alarms.size:
        return None
    alarm = int(alarms[0])
    clean = int(np.flatnonzero(~over[:alarm])[-1]) if not over[:alarm].all() else -1
    return Change(
        clean=clean,
        established=clean + FEWEST_OVER,
        alarm=alarm,
        alarm_sum_mpa=float(total[alarm]),
        growth=_growth(middle, excess, (clean, alarm), dead_band_mpa),
    )


def _growth(
    middle: FloatArray, excess: FloatArray, ends: tuple[int, int], dead_band_mpa: float
) -> Growth:
    """Growth by the line through the rising blocks, else from the last clean one to the alarm."""
    clean, alarm = ends
    after = np.arange(alarm + 1, min(alarm + 1 + BLOCKS_AFTER_ALARM, middle.size))
    after = after[excess[after] > dead_band_mpa][:MOST_AFTER_ALARM]
    rising = np.concatenate([np.arange(clean + 1, alarm + 1), after])
    if rising.size >= FEWEST_ON_LINE:
        line = _line(middle[rising], excess[rising])
        if line is not None:
            return line
    before = max(clean, 0)
    run = float(middle[alarm] - middle[before])
    rise = float(excess[alarm] - (excess[clean] if clean >= 0 else 0.0))
    if run <= 0.0 or rise <= 0.0:
        return Growth(slope_mpa=0.0, zero_at=float(middle[before]))
    return Growth(slope_mpa=rise / run, zero_at=float(middle[alarm] - excess[alarm] * run / rise))


def _line(middle: FloatArray, excess: FloatArray) -> Growth | None:
    """
    Least-squares line through the blocks, or None where its slope is not significant.

    The error of the cycle at which it is 0 is that of inverse prediction
    (N. R. Draper, H. Smith, Applied Regression Analysis; from memory).
    """
    off, over = middle - middle.mean(), excess - excess.mean()
    weight = float(off @ off)
    slope = float(off @ over) / weight
    rest = over - slope * off
    spread = float(np.sqrt(float(rest @ rest) / (middle.size - 2)))
    if slope <= LEAST_SIGNIFICANCE * spread / np.sqrt(weight):
        return None
    back = float(excess.mean()) / slope
    return Growth(
        slope_mpa=slope,
        zero_at=float(middle.mean()) - back,
        zero_error=spread / slope * float(np.sqrt(1.0 / middle.size + back * back / weight)),
    )
