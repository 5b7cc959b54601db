"""When a computed number counts as having reached a limit, and rounding up by that rule.

Rounding error must not cost a unit: a confidence computed from a finished test of 3
units has to lead back to 3 units, not to 4.
"""

import math
from typing import TypeVar

import numpy as np

from analysis.checks import FloatArray

_Floats = TypeVar("_Floats", np.float64, FloatArray)

ROUND_TRIP_SLACK = 1e-12
"""Relative shortfall that counts as rounding error.

Some thousand times the error of one operation, a million times below what a test can tell.
"""


def reaches(value: float, limit: float) -> bool:
    """
    Whether `value` is at least `limit`, rounding error aside; both 0 or more.

    Examples
    --------
    >>> reaches(0.1 * 3, 0.3), reaches(0.7 + 0.1, 0.8), reaches(0.79, 0.8)
    (True, True, False)
    """
    return value >= limit * (1.0 - ROUND_TRIP_SLACK)


def round_up(value: float) -> int:
    """
    Smallest whole number that reaches `value`, a finite number of 0 or more.

    Examples
    --------
    >>> round_up(21.85), round_up(22.0), round_up(22.000_000_000_000_004)
    (22, 22, 22)
    """
    above = math.ceil(value)
    return above - 1 if above > 0 and reaches(above - 1, value) else above


def risk_limit(confidence: float) -> float:
    """
    Largest chance of passing that still counts as 1 - `confidence`, rounding error aside.

    A confidence can be off by half a unit of its last place before it gets here: 1 - C is
    then off by more than the relative slack when C is close to 1.

    Examples
    --------
    >>> 0.9**3 <= risk_limit(0.271), 0.9**2 <= risk_limit(0.271)
    (True, False)
    """
    return float(risk_limits(np.float64(confidence)))


def risk_limits(confidences: _Floats) -> _Floats:
    """
    The same for every confidence of an array.

    Examples
    --------
    >>> risk_limits(np.array([0.271, 0.5])) >= np.array([0.9**3, 0.5])
    array([ True,  True])
    """
    slack: _Floats = (1.0 - confidences) * (1.0 + ROUND_TRIP_SLACK) + np.spacing(confidences)
    return slack
