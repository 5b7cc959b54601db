"""How one run goes: a cold start, cycles short of pressure, and how many rows it takes."""

from __future__ import annotations

import numpy as np
from msgspec import Struct

SHORT_SHARE = 0.006
FEWEST_ROWS = 80
_QUIET_END_ROWS = 20
_SURPLUS_ROWS = 40


class RunShape(Struct, frozen=True, kw_only=True):
    """Rows of a run: those with cold fluid first, then those that count but for short bursts."""

    row_count: int
    cold_rows: int
    short_bursts: tuple[tuple[int, int], ...]

    @property
    def counted_cycles(self) -> int:
        """Rows that count."""
        return self.row_count - self.cold_rows - sum(rows for _, rows in self.short_bursts)


def run_shape(
    rng: np.random.Generator, *, need: int, most_rows: int | None, cold: bool, scale: float
) -> RunShape | None:
    """
    Shape of the next run, or None where there is no room for one.

    Parameters
    ----------
    rng : numpy.random.Generator
        Where chance comes from.
    need : int, 1 or more, keyword only
        Counted cycles after which the run ends by itself.
    most_rows : int or None, keyword only
        Rows until the rig is stopped; None where it is not.
    cold : bool, keyword only
        True where the fluid has cooled down: at scale 1 it takes 700 to 1,400
        cycles until it is warm.
    scale : float, > 0, keyword only
        Length of the test.

    Returns
    -------
    RunShape or None

    Notes
    -----
    A run that is stopped from outside never ends within a burst, nor within a
    few rows of its goal: cycles that fall short at the end of a run would look
    like a unit that cannot build pressure.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> run_shape(rng, need=500, most_rows=None, cold=False, scale=0.05).counted_cycles
    500
    """
    cold_rows = max(1, round(int(rng.integers(700, 1_401)) * scale)) if cold else 0
    without_short = cold_rows + need
    if most_rows is not None:
        if most_rows < cold_rows + FEWEST_ROWS:
            return None
        most_rows = _away_from_goal(most_rows, without_short)
    sure_rows = without_short if most_rows is None else min(most_rows, without_short)
    bursts = _short_bursts(rng, first_row=cold_rows, row_count=sure_rows, scale=scale)
    row_count = without_short + sum(rows for _, rows in bursts)
    if most_rows is not None:
        row_count = min(row_count, _away_from_goal(most_rows, row_count))
    return RunShape(row_count=row_count, cold_rows=cold_rows, short_bursts=bursts)


def _away_from_goal(most_rows: int, goal_rows: int) -> int:
    """Stop a little earlier where only a few rows would be left to the goal."""
    return most_rows - _SURPLUS_ROWS if 0 < goal_rows - most_rows < _SURPLUS_ROWS else most_rows


def _short_bursts(
    rng: np.random.Generator, *, first_row: int, row_count: int, scale: float
) -> tuple[tuple[int, int], ...]:
    """Bursts of cycles short of pressure, soon after the start and never at the end."""
    budget = round(SHORT_SHARE * (row_count - first_row) * rng.uniform(0.7, 1.3))
    bursts: list[tuple[int, int]] = []
    position = first_row + 5
    while budget > 0:
        length = min(budget, max(1, round(rng.uniform(8, 60) * scale)))
        start = position + int(rng.exponential(250 * scale))
        if start + length + _QUIET_END_ROWS + _SURPLUS_ROWS > row_count:
            break
        bursts.append((start, length))
        budget -= length
        position = start + length + 5
    return tuple(bursts)
