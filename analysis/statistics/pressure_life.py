"""Life against pressure: Weibull with one shape whose scale follows a power of pressure."""

import math
from collections.abc import Mapping, Sequence

import numpy as np
from scipy import special

from analysis.checks import check_fraction, check_positive
from analysis.errors import OutsideDomainError
from analysis.statistics.life_records import LifeRecords
from analysis.statistics.pressure_likelihood import Maximum, greatest_likelihood
from schemas.acceleration import (
    BLifeAtPressure,
    LifeAtPressure,
    PressureCovariance,
    PressureLifeFit,
    PressureMeasure,
    TestedPressure,
)
from schemas.estimates import NotEstimable
from schemas.fit_limits import Limits

_LOG_LARGEST = 709.0  # e**709 is close to the largest number a double holds.
_MEASURES = ("PEAK", "RANGE", "AMPLITUDE")


def pressure_life_fit(
    lives_at: Mapping[float, LifeRecords], *, measure: PressureMeasure
) -> PressureLifeFit | NotEstimable:
    """
    Power of pressure by which life falls, from lives at two or more pressures.

    Parameters
    ----------
    lives_at : mapping of float to LifeRecords
        Lives of the units tested at each pressure. Pressures in MPa, above 0.
    measure : {"PEAK", "RANGE", "AMPLITUDE"}, keyword only
        Which pressure of a cycle is meant, the same for all; repeated in the answer.

    Returns
    -------
    PressureLifeFit or NotEstimable
        Exponent, scale and shape with their covariance; or ``NO_FAILURES``,
        ``FEWER_THAN_TWO_FAILURE_PRESSURES``, ``ONE_LINE_FITS_ALL`` (all failures on one
        line that no other unit outlived), ``SPREAD_WITHOUT_END``,
        ``SCALE_NOT_REPRESENTABLE``.

    Raises
    ------
    OutsideDomainError
        If a pressure is not above 0 or `measure` is unknown.
    DidNotConvergeError
        If the climb does not end; no lives are known for which it does not.

    Notes
    -----
    ``ln scale = b0 - n ln P`` with one shape (W. Nelson, "Accelerated Testing", 1990, and
    W. Q. Meeker and L. A. Escobar, "Statistical Methods for Reliability Data", 1998; from
    memory). Fitted with ln P from its mean over units, without which the intercept and the
    exponent can hardly be told apart by a search. Only ratios of pressures matter, so any
    unit gives the same exponent.

    Examples
    --------
    Five units at each of three pressures; four stopped unbroken:

    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> fit = pressure_life_fit(
    ...     {
    ...         35.0: lives_with_run_outs([820_500, 1_215_000] + [1_500_000] * 3,
    ...                                   [True, True] + [False] * 3),
    ...         42.0: lives_with_run_outs([301_000, 455_200, 520_700, 700_100, 800_000],
    ...                                   [True] * 4 + [False]),
    ...         50.0: lives_with_run_outs([95_200, 140_300, 171_800, 214_000, 266_500],
    ...                                   [True] * 5),
    ...     },
    ...     measure="PEAK",
    ... )
    >>> round(fit.exponent, 2), round(fit.shape, 2)
    (6.41, 2.98)
    """
    if measure not in _MEASURES:
        raise OutsideDomainError("measure", measure, f"one of {', '.join(_MEASURES)}")
    lives = {
        check_positive("lives_at", pressure): records
        for pressure, records in sorted(lives_at.items())
        if records.counts.size
    }
    with_failures = [pressure for pressure, records in lives.items() if records.failure_count]
    if len(with_failures) < 2:
        reason = "FEWER_THAN_TWO_FAILURE_PRESSURES" if with_failures else "NO_FAILURES"
        return NotEstimable(reason=reason)
    log_pressures = np.log(np.array(list(lives)))
    units = np.array([records.unit_count for records in lives.values()], dtype=np.float64)
    central = float(units @ log_pressures) / float(units.sum())
    design = np.column_stack((np.ones(units.size), central - log_pressures))
    found = greatest_likelihood(list(lives.values()), design)
    if isinstance(found, NotEstimable):
        return found
    if abs(found.center + float(found.beta[0])) > _LOG_LARGEST:
        return NotEstimable(reason="SCALE_NOT_REPRESENTABLE")
    return _fit(found, lives, central, measure)


def exponent_limits(fit: PressureLifeFit, *, confidence: float) -> Limits:
    """
    Exponent of a fitted power law with its limits.

    Parameters
    ----------
    fit : PressureLifeFit
        As `pressure_life_fit` gives it.
    confidence : float, 0 to 1, open, keyword only
        One-sided confidence with which each limit holds alone.

    Returns
    -------
    Limits
        Symmetric, from the observed information; a lower limit below 0 means the lives
        do not show that more pressure shortens life.

    Raises
    ------
    OutsideDomainError
        If `confidence` is not strictly between 0 and 1.

    Notes
    -----
    ``n -+ z se(n)``: the exponent may be any number, so no logarithm is taken (W. Nelson,
    "Accelerated Testing", from memory). Too narrow with few failures.
    """
    z = float(special.ndtri(check_fraction("confidence", confidence)))
    width = z * math.sqrt(fit.covariance.exponent_variance)
    return Limits(estimate=fit.exponent, lower=fit.exponent - width, upper=fit.exponent + width)


def life_at_pressure(
    fit: PressureLifeFit,
    *,
    pressure_mpa: float,
    confidence: float,
    fractions: Sequence[float],
) -> LifeAtPressure | NotEstimable:
    """
    Scale and B-lives at one pressure by a fitted power law, with limits.

    Parameters
    ----------
    fit : PressureLifeFit
        As `pressure_life_fit` gives it.
    pressure_mpa : float, finite, > 0, keyword only
        Pressure of use, by the fit's measure. MPa.
    confidence : float, 0 to 1, open, keyword only
        One-sided confidence with which each limit holds alone.
    fractions : sequence of float, 0 to 1, open, keyword only
        Fractions failed whose lives are asked for; 0.10 for B10.

    Returns
    -------
    LifeAtPressure or NotEstimable
        Marked EXTRAPOLATED outside the tested pressures; or ``SCALE_NOT_REPRESENTABLE``.
        A limit beyond every number a computer holds is ``NO_FINITE_LIMIT``.

    Raises
    ------
    OutsideDomainError
        If an argument is outside its range.

    Notes
    -----
    On ln t: ``ln t_p = location + spread w_p``, ``w_p = ln(-ln(1 - p))``, variance from the
    covariance of (location at the pressure, ln spread), which grows with the distance from
    the central pressure (W. Q. Meeker and L. A. Escobar 1998, from memory).

    Examples
    --------
    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> fit = pressure_life_fit(
    ...     {
    ...         42.0: lives_with_run_outs([301_000, 455_200, 520_700], [True] * 3),
    ...         50.0: lives_with_run_outs([95_200, 140_300, 171_800], [True] * 3),
    ...     },
    ...     measure="RANGE",
    ... )
    >>> life = life_at_pressure(fit, pressure_mpa=35.0, confidence=0.90, fractions=[0.10])
    >>> life.standing, round(life.outside_ratio, 2)
    ('EXTRAPOLATED', 1.2)
    """
    z = float(special.ndtri(check_fraction("confidence", confidence)))
    pressure = check_positive("pressure_mpa", pressure_mpa)
    wanted = [check_fraction(f"fractions[{i}]", value) for i, value in enumerate(fractions)]
    distance = math.log(fit.central_pressure_mpa / pressure)
    location = fit.central_location + fit.exponent * distance
    # Standard log lives: 0 is the scale, the others the B-lives.
    quantiles = [0.0, *(math.log(-math.log1p(-fraction)) for fraction in wanted)]
    limits = []
    for quantile in quantiles:
        log_life = location + fit.spread * quantile
        if abs(log_life) > _LOG_LARGEST:
            return NotEstimable(reason="SCALE_NOT_REPRESENTABLE")
        error = math.sqrt(_log_life_variance(fit, distance, fit.spread * quantile))
        limits.append(_life_limits(log_life, z * error))
    lowest, highest = fit.tested[0].pressure_mpa, fit.tested[-1].pressure_mpa
    outside = max(1.0, lowest / pressure, pressure / highest)
    return LifeAtPressure(
        pressure_mpa=pressure,
        confidence=confidence,
        scale_cycles=limits[0],
        b_lives=tuple(
            BLifeAtPressure(fraction=fraction, cycles=each)
            for fraction, each in zip(wanted, limits[1:], strict=True)
        ),
        standing="EXTRAPOLATED" if outside > 1.0 else "WITHIN_TESTED_PRESSURES",
        outside_ratio=outside,
        lowest_tested_mpa=lowest,
        highest_tested_mpa=highest,
    )


def _fit(
    found: Maximum, lives: Mapping[float, LifeRecords], central: float, measure: PressureMeasure
) -> PressureLifeFit:
    """Name the numbers of the maximum."""
    covariance = found.covariance
    tested = tuple(
        TestedPressure(
            pressure_mpa=pressure,
            unit_count=records.unit_count,
            failure_count=records.failure_count,
            longest_cycles=_longest(records),
        )
        for pressure, records in lives.items()
    )
    return PressureLifeFit(
        measure=measure,
        tested=tested,
        central_pressure_mpa=math.exp(central),
        central_location=found.center + float(found.beta[0]),
        exponent=float(found.beta[1]),
        spread=1.0 / found.shape,
        covariance=PressureCovariance(
            location_variance=float(covariance[0, 0]),
            exponent_variance=float(covariance[1, 1]),
            log_spread_variance=float(covariance[2, 2]),
            location_exponent=float(covariance[0, 1]),
            location_log_spread=float(covariance[0, 2]),
            exponent_log_spread=float(covariance[1, 2]),
        ),
        log_likelihood=found.log_likelihood,
        unit_count=sum(each.unit_count for each in tested),
        failure_count=sum(each.failure_count for each in tested),
        iteration_count=found.iteration_count,
        score_size=found.score_size,
    )


def _longest(records: LifeRecords) -> float:
    """Largest finite end of a life."""
    ends = np.concatenate((records.low_cycles, records.high_cycles))
    return float(ends[np.isfinite(ends)].max())


def _log_life_variance(fit: PressureLifeFit, distance: float, stretch: float) -> float:
    """Variance of ``location + exponent * distance + stretch * (ln spread - its estimate)``."""
    covariance = fit.covariance
    variance = (
        covariance.location_variance
        + distance * distance * covariance.exponent_variance
        + stretch * stretch * covariance.log_spread_variance
        + 2.0 * distance * covariance.location_exponent
        + 2.0 * stretch * covariance.location_log_spread
        + 2.0 * distance * stretch * covariance.exponent_log_spread
    )
    return max(0.0, variance)


def _life_limits(log_life: float, width: float) -> Limits:
    """Limits on the logarithm turned into cycles."""
    low, high = log_life - width, log_life + width
    none = NotEstimable(reason="NO_FINITE_LIMIT")
    return Limits(
        estimate=math.exp(log_life),
        lower=math.exp(low) if abs(low) <= _LOG_LARGEST else none,
        upper=math.exp(high) if abs(high) <= _LOG_LARGEST else none,
    )
