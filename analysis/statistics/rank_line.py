"""Weibull line through plotting positions by least squares: a line for the eye, no bounds."""

import math

import numpy as np

from analysis.checks import FloatArray
from analysis.errors import OutsideDomainError
from analysis.statistics.life_records import LifeRecords
from analysis.statistics.median_ranks import plotting_positions
from schemas.estimates import NotEstimable
from schemas.ranks import RankLine, RankRule, Regressed

_LOG_LARGEST = 709.0  # e**709 is close to the largest number a double holds.


def rank_line(
    records: LifeRecords, *, regressed: Regressed, rank_rule: RankRule
) -> RankLine | NotEstimable:
    """
    Straight line on Weibull paper through the failures of a lot.

    Parameters
    ----------
    records : LifeRecords
        Lives of the lot; failures at known counts and units that did not fail.
    regressed : {"CYCLES_ON_POSITION", "POSITION_ON_CYCLES"}, keyword only
        Which coordinate is taken to scatter: the log cycles about the line (the usual
        choice for Weibull paper), or the plotting position.
    rank_rule : {"MEDIAN", "BENARD"}, keyword only
        Plotting positions, as `plotting_positions`.

    Returns
    -------
    RankLine or NotEstimable
        Scale, shape and squared correlation, without bounds: no honest ones come with a
        regression on ranks, whose deviations depend on each other. Or ``NO_FAILURES``,
        ``BRACKETED_LIVES``, ``FEWER_THAN_TWO_FAILURE_LIVES`` (one point fixes no line),
        ``SCALE_NOT_REPRESENTABLE``.

    Raises
    ------
    OutsideDomainError
        If `regressed` or `rank_rule` is unknown.

    Notes
    -----
    On Weibull paper ``ln(-ln(1 - F)) = shape * (ln t - ln scale)``. Least squares along
    one axis or the other; both lines go through the mean point. Regression on median
    ranks after R. B. Abernethy, "The New Weibull Handbook" (from memory; the tests hold a
    printed example).

    Examples
    --------
    Five failures and three units that stopped:

    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> lives = lives_with_run_outs(
    ...     [30, 49, 82, 90, 96, 10, 45, 100], [True] * 5 + [False] * 3
    ... )
    >>> line = rank_line(lives, regressed="CYCLES_ON_POSITION", rank_rule="BENARD")
    >>> round(line.scale_cycles, 1), round(line.shape, 3), line.bounds
    (95.0, 2.024, 'NONE')
    """
    if regressed not in ("CYCLES_ON_POSITION", "POSITION_ON_CYCLES"):
        allowed = '"CYCLES_ON_POSITION" or "POSITION_ON_CYCLES"'
        raise OutsideDomainError("regressed", regressed, allowed)
    points = plotting_positions(records, rank_rule=rank_rule)
    if isinstance(points, NotEstimable):
        return points
    log_cycles, center = _centered_logs(np.array(points.life_cycles))
    heights = np.log(-np.log1p(-np.array(points.positions)))
    level = float(heights.mean())
    spread_of_cycles = float(log_cycles @ log_cycles)
    spread_of_heights = float((heights - level) @ (heights - level))
    together = float(log_cycles @ (heights - level))
    if points.life_cycles[0] == points.life_cycles[-1] or together <= 0.0:
        return NotEstimable(reason="FEWER_THAN_TWO_FAILURE_LIVES")
    if regressed == "CYCLES_ON_POSITION":
        shape = spread_of_heights / together
    else:
        shape = together / spread_of_cycles
    log_scale = center - level / shape
    if abs(log_scale) > _LOG_LARGEST:
        return NotEstimable(reason="SCALE_NOT_REPRESENTABLE")
    return RankLine(
        regressed=regressed,
        positions=points,
        scale_cycles=math.exp(log_scale),
        shape=shape,
        r_squared=min(1.0, together * together / (spread_of_cycles * spread_of_heights)),
    )


def _centered_logs(lives: FloatArray) -> tuple[FloatArray, float]:
    """Log lives from their mean, and that mean; lives close together keep their digits."""
    middle = float(lives[lives.size // 2])
    close = np.abs(lives - middle) < 0.5 * middle
    shift = np.where(close, lives - middle, 0.0) / middle
    logs = np.where(close, np.log1p(shift), np.log(lives) - math.log(middle))
    mean = float(logs.mean())
    return logs - mean, mean + math.log(middle)
