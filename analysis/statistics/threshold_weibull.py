"""Three-parameter Weibull: lives that cannot end before a threshold."""

import numpy as np
from msgspec import Struct
from scipy import optimize

from analysis.checks import BoolArray, FloatArray
from analysis.statistics.life_records import LifeRecords
from analysis.statistics.weibull import weibull_fit
from analysis.statistics.weibull_batch import weibull_batch
from schemas.estimates import NotEstimable
from schemas.fits import ThresholdWeibullFit

_TRIED = 256  # thresholds looked at; a maximum between two of them shows as a change of sign
_NEAREST = 1e-7  # nearest one to the first failure, in ranges of the lives
_LAST_DIGIT = 1e-13


class _Lives(Struct, frozen=True):
    """Lives counted from the first failure, which keeps the digits of their differences."""

    from_first: FloatArray
    failed: BoolArray
    counts: FloatArray
    first_failure: float

    def beyond(self, gaps: FloatArray) -> FloatArray:
        """Lives beyond the thresholds `gaps` before the first failure, a row for each."""
        return np.maximum(self.from_first + gaps[:, None], 0.0)


def threshold_weibull_fit(records: LifeRecords) -> ThresholdWeibullFit | NotEstimable:
    """
    Threshold, scale and shape of the most likely Weibull that starts after 0 cycles.

    Parameters
    ----------
    records : LifeRecords
        Exact failures and units that did not fail. Cycles.

    Returns
    -------
    ThresholdWeibullFit or NotEstimable
        The local maximum with a shape above 1 and a threshold between 0 and the first
        failure, the most likely one if there are several; or the reason why there is
        none: ``BRACKETED_LIVES``, ``NO_FAILURES``, ``FAILURES_ONLY_AT_LONGEST_LIFE``,
        ``NO_INTERIOR_MAXIMUM``.

    Notes
    -----
    For a given threshold the lives beyond it follow a Weibull of two parameters; the
    threshold's own likelihood, the other two at their best, is searched for places where
    its slope turns from rising to falling. With a shape below 1 the likelihood grows
    without end as the threshold nears the first failure [1]_: no such point is an
    estimate. A unit that stopped before the threshold says nothing. The slope is
    ``(b / s) sum(y**(b - 1)) - (b - 1) sum over failures of 1 / (t - threshold)`` with
    y = (t - threshold) / s (derivative taken here).

    References
    ----------
    .. [1] H. Rockette, C. Antle and L. A. Klimko, "Maximum likelihood estimation with
           the Weibull model", Journal of the American Statistical Association 69,
           246-249, 1974. (From memory.)

    Examples
    --------
    Ten failures and ten units stopped at 500 hours, as in the reliability chapter of the
    NIST/SEMATECH e-Handbook:

    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> failures = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
    >>> fit = threshold_weibull_fit(
    ...     lives_with_run_outs(failures + [500] * 10, [True] * 10 + [False] * 10)
    ... )
    >>> round(fit.threshold_cycles, 2), round(fit.scale_cycles, 1), round(fit.shape, 3)
    (36.99, 598.8, 1.381)
    """
    if records.has_brackets:
        return NotEstimable(reason="BRACKETED_LIVES")
    failed = np.isfinite(records.high_cycles)
    if not failed.any():
        return NotEstimable(reason="NO_FAILURES")
    first = float(records.low_cycles[failed].min())
    if first == records.low_cycles.max():
        return NotEstimable(reason="FAILURES_ONLY_AT_LONGEST_LIFE")
    lives = _Lives(records.low_cycles - first, failed, records.counts, first)
    fits = [fit for gap in _places(lives) if (fit := _fit_at(lives, gap, records)) is not None]
    if not fits:
        return NotEstimable(reason="NO_INTERIOR_MAXIMUM")
    return max(fits, key=lambda fit: fit.log_likelihood)


def _places(lives: _Lives) -> list[float]:
    """Gaps before the first failure at which the threshold's likelihood is largest nearby."""
    span = min(float(lives.from_first.max()), lives.first_failure)
    gaps = np.geomspace(_NEAREST * span, lives.first_failure, _TRIED)
    slopes = _slopes(lives, gaps)
    # The likelihood rises up to the larger gap's threshold and falls from the smaller one's.
    turns = np.flatnonzero((slopes[:-1] < 0.0) & (slopes[1:] > 0.0))
    return [
        float(
            optimize.brentq(
                lambda gap: float(_slopes(lives, np.array([gap]))[0]),
                gaps[turn],
                gaps[turn + 1],
                xtol=_LAST_DIGIT * gaps[turn],
                rtol=_LAST_DIGIT,
            )
        )
        for turn in turns
    ]


def _slopes(lives: _Lives, gaps: FloatArray) -> FloatArray:
    """Derivative of the threshold's likelihood by the threshold; nan where none is fitted."""
    beyond = lives.beyond(gaps)
    units = np.broadcast_to(lives.counts, beyond.shape)
    fits = weibull_batch(beyond, units, units * lives.failed)
    shapes, scales = fits.shapes[:, None], fits.scale_cycles[:, None]
    failed = lives.failed
    risen = np.where(beyond > 0.0, beyond / scales, 1.0) ** (shapes - 1.0) * (beyond > 0.0)
    pushed = (shapes / scales * risen) @ lives.counts
    pulled = (fits.shapes - 1.0) * ((1.0 / beyond[:, failed]) @ lives.counts[failed])
    slopes: FloatArray = pushed - pulled
    return slopes


def _fit_at(lives: _Lives, gap: float, records: LifeRecords) -> ThresholdWeibullFit | None:
    """The fit beyond one threshold, if it wears out: shape above 1."""
    beyond = lives.beyond(np.array([gap]))[0]
    fit = weibull_fit(beyond, lives.failed, counts=lives.counts.astype(np.int64))
    if isinstance(fit, NotEstimable) or fit.shape <= 1.0:
        return None
    return ThresholdWeibullFit(
        threshold_cycles=lives.first_failure - gap,
        scale_cycles=fit.scale_cycles,
        shape=fit.shape,
        log_likelihood=fit.log_likelihood,
        unit_count=records.unit_count,
        failure_count=records.failure_count,
    )
