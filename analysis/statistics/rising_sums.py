"""Two sums of positive terms behind incomplete gamma and beta functions, as logarithms."""

import math
from collections.abc import Callable

import numpy as np

from analysis.checks import FloatArray

_FIRST_TERMS, _TERMS_AT_ONCE = 64, 65_536
_NEGLIGIBLE = 1e-18
_LARGEST_LOG = math.log(1e280)
_SCALED_FROM = 1e200
_SCALED_LOG = math.log(_SCALED_FROM)


def log_gamma_sum(argument: float, order: float) -> float:
    """
    Logarithm of ``1 + z/(s+1) + z^2/((s+1)(s+2)) + ...``.

    Parameters
    ----------
    argument : float, >= 0
        z.
    order : float, > 0
        s.

    Returns
    -------
    float

    Notes
    -----
    The regularised lower incomplete gamma function is ``z^s exp(-z) / Gamma(s+1)`` times
    this sum (Abramowitz and Stegun 6.5.29, from memory). Ratios of such functions whose
    powers cancel are ratios of these sums: nothing underflows and no digits are lost in
    differences, because every term is positive.

    Examples
    --------
    With s = 1 the sum is ``(exp(z) - 1) / z``:

    >>> round(log_gamma_sum(2.0, 1.0), 12) == round(math.log((math.exp(2.0) - 1.0) / 2.0), 12)
    True
    """
    return _log_sum(lambda step: argument / (order + 1.0 + step))


def log_beta_sum(argument: float, total: float, order: float) -> float:
    """
    Logarithm of ``1 + z t/(s+1) + z^2 t(t+1)/((s+1)(s+2)) + ...``.

    Parameters
    ----------
    argument : float, 0 <= z < 1
    total : float, > 0
        t, the sum of both parameters of the beta distribution.
    order : float, > 0
        s, the parameter of the side that is summed.

    Returns
    -------
    float

    Notes
    -----
    The incomplete beta function is ``z^s (1-z)^(t-s) / s`` times this sum (Abramowitz and
    Stegun 26.5.4, from memory).

    Examples
    --------
    With t = s + 1 it is the geometric series:

    >>> round(math.exp(log_beta_sum(0.5, 3.0, 2.0)), 12)
    2.0
    """
    return _log_sum(lambda step: argument * ((total + step) / (order + 1.0 + step)))


def _log_sum(ratio_after: Callable[[FloatArray], FloatArray]) -> float:
    """
    Logarithm of ``1 + r(0) + r(0) r(1) + ...``, where the ratios fall below 1 for good.

    Terms may rise for long before they fall: a sum that grows large is scaled down, and
    what was taken out is kept as a logarithm.
    """
    total, term, scale, done, at_once = 1.0, 1.0, 0.0, 0, _FIRST_TERMS
    while True:
        ratios = ratio_after(np.arange(done, done + at_once, dtype=np.float64))
        rises = np.log(ratios).cumsum() if ratios[0] > 0.0 else np.zeros(ratios.size)
        room = _LARGEST_LOG - math.log(max(term, total))
        taken = max(1, int(np.searchsorted(np.maximum.accumulate(rises), room)))
        terms = term * np.cumprod(ratios[:taken])
        total += float(terms.sum())
        term, done, last_ratio = float(terms[-1]), done + taken, float(ratios[taken - 1])
        if last_ratio < 1.0 and term * last_ratio <= _NEGLIGIBLE * total * (1.0 - last_ratio):
            return scale + math.log(total)
        if total > _SCALED_FROM:
            total, term, scale = total / _SCALED_FROM, term / _SCALED_FROM, scale + _SCALED_LOG
        at_once = min(4 * at_once, _TERMS_AT_ONCE)
