"""Numbers as a reader sees them: rounded to the careful side, pressure in the reader's unit."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from typing import Literal

from schemas.cycles import MPA_PER_PSI, PRESSURE_DIVISORS

PressureUnit = Literal["mpa", "bar", "psi"]
PRESSURE_UNIT_LABELS: dict[PressureUnit, str] = {"mpa": "MPa", "bar": "bar", "psi": "psi"}

NO_BREAK = "\u00a0"
"""Between a number and its unit, so that no line ends between them."""

RELIABILITY_DIGITS = 3
MOST_DIGITS = 12
_LONGEST_QUOTED = 10
"""A fraction with more characters was computed and not written by a person."""

_PRESSURE_DIGITS: dict[PressureUnit, int] = {"mpa": 2, "bar": 1, "psi": 0}


def count_text(count: int) -> str:
    """
    Whole number with separators.

    Examples
    --------
    >>> count_text(2_400_000)
    '2,400,000'
    """
    return f"{count:,}"


def counted(count: int, one: str, many: str) -> str:
    """
    A count with its noun.

    Examples
    --------
    >>> counted(1, "unit", "units"), counted(12, "unit", "units")
    ('1 unit', '12 units')
    """
    return f"{count:,} {one if count == 1 else many}"


def fraction_text(value: float) -> str:
    """
    Fraction as its author wrote it, not rounded: a requirement is quoted, never changed.

    Examples
    --------
    >>> fraction_text(0.95)
    '0.95'
    """
    return f"{Decimal(repr(value)):f}"


def percent_text(value: float) -> str:
    """
    Fraction as percent, not rounded.

    Examples
    --------
    >>> percent_text(0.9).replace(NO_BREAK, " ")
    '90 %'
    >>> percent_text(0.975).replace(NO_BREAK, " ")
    '97.5 %'
    """
    return f"{_plain(Decimal(repr(value)) * 100)}{NO_BREAK}%"


def rest_of_one(value: float) -> float:
    """1 - value in decimal arithmetic, so that 1 - 0.9 is 0.1."""
    return float(1 - Decimal(repr(value)))


def lower_limit_text(value: float) -> str:
    """
    Lower limit of a reliability, rounded down: the page never claims more than was shown.

    Examples
    --------
    >>> lower_limit_text(0.95319)
    '0.953'
    >>> lower_limit_text(0.95299)
    '0.952'
    """
    return _rounded(value, RELIABILITY_DIGITS, ROUND_FLOOR)


def upper_limit_text(value: float, *, required: float) -> str:
    """
    Upper limit of a reliability, rounded up, with enough digits to tell it from `required`.

    Examples
    --------
    >>> upper_limit_text(0.8591, required=0.95)
    '0.860'
    >>> upper_limit_text(0.94991, required=0.95)
    '0.94991'
    """
    for digits in range(RELIABILITY_DIGITS, MOST_DIGITS):
        text = _rounded(value, digits, ROUND_CEILING)
        if (float(text) < required) == (value < required):
            return text
    return fraction_text(value)


def requirement_text(value: float) -> str:
    """
    Required reliability: as its author wrote it, or rounded up to four digits if computed.

    Examples
    --------
    >>> requirement_text(0.95), requirement_text(0.95**4)
    ('0.95', '0.8146')
    """
    quoted = fraction_text(value)
    if len(quoted) <= _LONGEST_QUOTED:
        return quoted
    return _rounded(value, RELIABILITY_DIGITS + 1, ROUND_CEILING)


def compared_text(value: float, required: float) -> tuple[str, str]:
    """
    Target lives in hand, rounded down, and needed; digits enough to see which is larger.

    Examples
    --------
    >>> compared_text(48.0, 44.89056748)
    ('48.00', '44.89')
    >>> compared_text(44.8899, 44.89056748)
    ('44.88', '44.89')
    """
    for digits in range(2, MOST_DIGITS):
        left = _rounded(value, digits, ROUND_FLOOR)
        right = _rounded(required, digits, ROUND_HALF_EVEN)
        if _order(float(left), float(right)) == _order(value, required):
            return left, right
    return fraction_text(value), fraction_text(required)


def target_lives_text(value: float) -> str:
    """Sum of target lives on its own, to two digits, rounded down."""
    return _rounded(value, 2, ROUND_FLOOR)


def target_lives_needed_text(value: float) -> str:
    """Target lives that are required, to two digits."""
    return _rounded(value, 2, ROUND_HALF_EVEN)


def missing_lives_text(value: float) -> str:
    """Target lives still missing, to two digits, rounded up."""
    return _rounded(value, 2, ROUND_CEILING)


def shape_text(value: float) -> str:
    """
    Weibull shape, with at least one decimal.

    Examples
    --------
    >>> shape_text(2.0), shape_text(2.236)
    ('2.0', '2.236')
    """
    text = _plain(Decimal(repr(round(value, 3))))
    return text if "." in text else f"{text}.0"


def instant_text(instant: datetime) -> str:
    """
    Instant in UTC, to the second.

    Examples
    --------
    >>> instant_text(datetime(2026, 11, 25, 7, 5, tzinfo=UTC))
    '2026-11-25 07:05:00 UTC'
    """
    return f"{instant.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"


def pressure_text(pressure_mpa: float, unit: PressureUnit) -> str:
    """
    Pressure in the reader's unit alone.

    Parameters
    ----------
    pressure_mpa : float
        Pressure or difference of pressures in MPa; conversion has no offset.
    unit : {"mpa", "bar", "psi"}
        The reader's unit.

    Examples
    --------
    >>> pressure_text(33.25, "psi").replace(NO_BREAK, " ")
    '4,823 psi'
    """
    value = _IN_UNIT[unit](pressure_mpa)
    # Small values keep two significant digits: a decay of 0.012 MPa is not 0 bar.
    digits = _PRESSURE_DIGITS[unit]
    while digits < MOST_DIGITS and value != 0 and abs(value) < 10 ** (1 - digits):
        digits += 1
    return f"{value:,.{digits}f}{NO_BREAK}{PRESSURE_UNIT_LABELS[unit]}"


def pressure_both_text(pressure_mpa: float, unit: PressureUnit) -> str:
    """
    Pressure in the reader's unit first, with MPa and psi beside it.

    Examples
    --------
    >>> pressure_both_text(33.25, "mpa").replace(NO_BREAK, " ")
    '33.25 MPa (4,823 psi)'
    >>> pressure_both_text(33.25, "bar").replace(NO_BREAK, " ")
    '332.5 bar (33.25 MPa, 4,823 psi)'
    """
    others: tuple[PressureUnit, ...] = ("mpa", "psi")
    beside = ", ".join(pressure_text(pressure_mpa, other) for other in others if other != unit)
    return f"{pressure_text(pressure_mpa, unit)} ({beside})"


_IN_UNIT: dict[PressureUnit, Callable[[float], float]] = {
    "mpa": lambda pressure_mpa: pressure_mpa,
    "bar": lambda pressure_mpa: pressure_mpa * PRESSURE_DIVISORS["bar"],
    "psi": lambda pressure_mpa: pressure_mpa / MPA_PER_PSI,
}


def _rounded(value: float, digits: int, rounding: str) -> str:
    """Decimal of the shortest text of `value`, so that 0.953 stays 0.953."""
    return (
        f"{Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-digits), rounding=rounding):f}"
    )


def _plain(value: Decimal) -> str:
    """Decimal without an exponent and without zeros at its end."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _order(left: float, right: float) -> int:
    """-1, 0 or 1 as `left` is below, equal to or above `right`."""
    return (left > right) - (left < right)
