"""Log-likelihood of one life in a standard distribution of log life, with two derivatives.

Log life is ``location + spread * w``, w of a standard distribution: smallest extreme value
for the Weibull, normal for the lognormal. For an end of a life at the log count y,
``z = (y - location) / spread``. Each function takes arrays of z and gives the logarithm of a
density or probability and its first and second derivatives by z. Formulas derived here from
the two densities; written so that no probability is lost by cancellation or underflow.
"""

from typing import NamedTuple

import numpy as np
from scipy import special

from analysis.checks import FloatArray

_HALF_LOG_TWO_PI = 0.9189385332046727  # ln(2 pi) / 2
_CERTAIN = 300.0  # Survival exp(-e**z) is 0 far below this z; e**z and its square are numbers.


class Terms(NamedTuple):
    """A log-likelihood term and its derivatives by one z; arrays of one length."""

    value: FloatArray
    first: FloatArray
    second: FloatArray


class BracketTerms(NamedTuple):
    """The same for a bracket, with derivatives by its lower and its upper z."""

    value: FloatArray
    by_low: FloatArray
    by_high: FloatArray
    by_low_twice: FloatArray
    by_high_twice: FloatArray
    by_both: FloatArray


class ExtremeValue:
    """Smallest extreme value: survival ``exp(-exp(z))``, the log life of a Weibull."""

    @staticmethod
    def density(z: FloatArray) -> Terms:
        """Failed at z: ``z - e**z``."""
        power = np.exp(z)
        return Terms(z - power, 1.0 - power, -power)

    @staticmethod
    def survival(z: FloatArray) -> Terms:
        """Had not failed at z: ``-e**z``."""
        power = np.exp(z)
        return Terms(-power, -power, -power)

    @staticmethod
    def failed_by(z: FloatArray) -> Terms:
        """Had failed by z: ``ln(1 - exp(-e**z))``."""
        power = np.exp(np.minimum(z, _CERTAIN))
        ratio = _over_expm1(power)
        return Terms(_log_one_minus_exp(power), ratio, ratio * (1.0 - power - ratio))

    @staticmethod
    def bracket(low: FloatArray, width: FloatArray) -> BracketTerms:
        """Failed between low and low + width: ``ln(exp(-e**low) - exp(-e**(low + width)))``."""
        at_low = np.exp(low)
        at_high = np.exp(np.minimum(low + width, _CERTAIN))
        with np.errstate(over="ignore", invalid="ignore"):
            apart = np.where(width < 1.0, at_low * np.expm1(width), at_high - at_low)
        # With d = e**high - e**low the term is -e**low + ln(1 - e**-d); d k / dd = -k (1 + k).
        with np.errstate(over="ignore"):
            slope = 1.0 / np.expm1(apart)
        # k e**high = (d k) e**high / d stays finite where k overflows for a narrow bracket.
        bend = slope * (1.0 + slope)
        return BracketTerms(
            value=_log_one_minus_exp(apart) - at_low,
            by_low=-at_low * (1.0 + slope),
            by_high=at_high * slope,
            by_low_twice=-at_low * (1.0 + slope) - at_low * at_low * bend,
            by_high_twice=at_high * slope - at_high * at_high * bend,
            by_both=at_low * at_high * bend,
        )


class Normal:
    """Standard normal, the log life of a lognormal."""

    @staticmethod
    def density(z: FloatArray) -> Terms:
        """Failed at z: ``-z**2 / 2 - ln(2 pi) / 2``."""
        return Terms(-0.5 * z * z - _HALF_LOG_TWO_PI, -z, np.full_like(z, -1.0))

    @staticmethod
    def survival(z: FloatArray) -> Terms:
        """Had not failed at z: ``ln Phi(-z)``."""
        value, hazard = _log_tail(-z)
        return Terms(value, -hazard, -hazard * (hazard - z))

    @staticmethod
    def failed_by(z: FloatArray) -> Terms:
        """Had failed by z: ``ln Phi(z)``."""
        value, hazard = _log_tail(z)
        return Terms(value, hazard, -hazard * (hazard + z))

    @staticmethod
    def bracket(low: FloatArray, width: FloatArray) -> BracketTerms:
        """Failed between low and low + width: ``ln(Phi(low + width) - Phi(low))``."""
        high = low + width
        value = _log_between(low, high)
        density_low = np.exp(-0.5 * low * low - _HALF_LOG_TWO_PI - value)
        density_high = np.exp(-0.5 * high * high - _HALF_LOG_TWO_PI - value)
        return BracketTerms(
            value=value,
            by_low=-density_low,
            by_high=density_high,
            by_low_twice=density_low * (low - density_low),
            by_high_twice=-density_high * (high + density_high),
            by_both=density_low * density_high,
        )


def _log_one_minus_exp(positive: FloatArray) -> FloatArray:
    """``ln(1 - exp(-x))`` for x above 0, exact at both ends."""
    small = positive < 0.6931471805599453
    with np.errstate(divide="ignore"):
        return np.where(small, np.log(-np.expm1(-positive)), np.log1p(-np.exp(-positive)))


def _over_expm1(positive: FloatArray) -> FloatArray:
    """``x / (e**x - 1)``; 1 at 0, 0 where e**x overflows."""
    with np.errstate(over="ignore", invalid="ignore"):
        return np.where(positive > 0.0, positive / np.expm1(positive), 1.0)


def _log_tail(z: FloatArray) -> tuple[FloatArray, FloatArray]:
    """``ln Phi(z)`` and its derivative, the density over it."""
    value = special.log_ndtr(z)
    return value, np.exp(-0.5 * z * z - _HALF_LOG_TWO_PI - value)


def _log_between(low: FloatArray, high: FloatArray) -> FloatArray:
    """Logarithm of a normal probability between two ends, in the tail where it is exact."""
    flipped = low > 0.0
    log_near = special.log_ndtr(np.where(flipped, -low, high))  # the end with the larger share
    log_far = special.log_ndtr(np.where(flipped, -high, low))
    return log_near + _log_one_minus_exp(log_near - log_far)
