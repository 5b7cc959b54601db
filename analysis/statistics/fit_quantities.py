"""What a location and spread of log life say about survival and life, in one place for all limits.

Log life is ``location + spread * w``, w of the standard form of the distribution (smallest
extreme value or normal).
"""

import math
from collections.abc import Sequence

import numpy as np
from scipy import special

from analysis.checks import FloatArray, check_fraction, check_positive
from schemas.estimates import NotEstimable
from schemas.fits import Distribution

SHAPE_NOT_FITTED = NotEstimable(reason="SHAPE_NOT_FITTED")
NO_FINITE_LIMIT = NotEstimable(reason="NO_FINITE_LIMIT")
_LOG_LARGEST = 709.0  # e**709 is close to the largest number a double holds.


def check_cycles(at_cycles: Sequence[float]) -> FloatArray:
    """Accept counts at which a reliability is asked for, each finite and above 0."""
    counts = _plain_numbers(at_cycles)
    if counts is not None and bool(((counts > 0.0) & (counts < math.inf)).all()):
        return counts
    checked = [check_positive(f"at_cycles[{place}]", each) for place, each in enumerate(at_cycles)]
    return np.array(checked, dtype=np.float64)


def check_fractions(fractions: Sequence[float]) -> FloatArray:
    """Accept failed fractions at which a life is asked for, each strictly between 0 and 1."""
    shares = _plain_numbers(fractions)
    if shares is not None and bool(((shares > 0.0) & (shares < 1.0)).all()):
        return shares
    checked = [check_fraction(f"fractions[{place}]", each) for place, each in enumerate(fractions)]
    return np.array(checked, dtype=np.float64)


def _plain_numbers(values: Sequence[float]) -> FloatArray | None:
    """The values as they stand where all are plain numbers; else None, to be looked at singly."""
    if not all(type(each) in (float, int) for each in values):
        return None
    return np.array(values, dtype=np.float64)


def survival(standard: FloatArray, distribution: Distribution) -> FloatArray:
    """
    Fraction that survives the point `standard` of the standard form.

    Examples
    --------
    >>> survival(np.array([0.0]), "WEIBULL").round(4), survival(np.array([0.0]), "LOGNORMAL")
    (array([0.3679]), array([0.5]))
    """
    if distribution == "LOGNORMAL":
        return np.asarray(special.ndtr(-standard), dtype=np.float64)
    with np.errstate(over="ignore", under="ignore"):
        return np.exp(-np.exp(standard))


def standard_quantiles(fractions: FloatArray, distribution: Distribution) -> FloatArray:
    """
    Points of the standard form below which the fractions (0 to 1, open) lie.

    Examples
    --------
    >>> standard_quantiles(np.array([0.1]), "WEIBULL").round(4)
    array([-2.2504])
    """
    if distribution == "LOGNORMAL":
        return np.asarray(special.ndtri(fractions), dtype=np.float64)
    return np.log(-np.log1p(-fractions))


def cycles_of(log_cycles: float) -> float | NotEstimable:
    """
    Cycles of a logarithm, or that no computer holds them; below the smallest number 0.

    Examples
    --------
    >>> cycles_of(0.0), cycles_of(math.inf)
    (1.0, NotEstimable(reason='NO_FINITE_LIMIT'))
    """
    return math.exp(log_cycles) if log_cycles <= _LOG_LARGEST else NO_FINITE_LIMIT


def number_or_none(value: float) -> float | NotEstimable:
    """A finite number as it is; an infinite one as a limit that does not exist."""
    return value if math.isfinite(value) else NO_FINITE_LIMIT
