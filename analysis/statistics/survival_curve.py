"""Survival and cumulative hazard of a lot by steps at its failures, no distribution assumed."""

import numpy as np
from msgspec import Struct
from scipy import special

from analysis.checks import FloatArray, check_fraction
from analysis.statistics.life_records import LifeRecords
from schemas.estimates import NotEstimable
from schemas.survival import (
    HazardCurve,
    HazardStep,
    SurvivalCurve,
    SurvivalLimits,
    SurvivalStep,
)

_NOT_AT_ZERO = NotEstimable(reason="NO_LIMITS_AT_ZERO_SURVIVAL")


class _Counts(Struct, frozen=True, kw_only=True):
    """Distinct counts at which units failed, how many did and how many were at risk."""

    cycles: FloatArray
    failures: FloatArray
    at_risk: FloatArray
    longest_cycles: float


def kaplan_meier(records: LifeRecords, *, confidence: float) -> SurvivalCurve | NotEstimable:
    """
    Fraction of units that survive each count, without an assumed life distribution.

    Parameters
    ----------
    records : LifeRecords
        Lives of the lot; a unit that stopped at a count at which another failed was at
        risk there. Units stopped before their first cycle are not in it.
    confidence : float, 0 to 1, open, keyword only
        One-sided confidence with which each limit holds alone; the pair is two-sided at
        ``2 * confidence - 1``.

    Returns
    -------
    SurvivalCurve or NotEstimable
        A curve, without steps where nothing failed; or ``BRACKETED_LIVES``: such lives
        need `interval_survival`.

    Raises
    ------
    OutsideDomainError
        If `confidence` is not strictly between 0 and 1.

    Notes
    -----
    Survival is the product of ``1 - d / n`` over the counts with d failures among n at
    risk (E. L. Kaplan and P. Meier 1958), its variance Greenwood's
    ``S**2 sum(d / (n (n - d)))``. Plain limits ``S -+ z se``, cut off at 0 and 1; log-log
    limits ``S ** exp(+-z sqrt(sum(d / (n (n - d)))) / ln S)``. J. P. Klein and M. L.
    Moeschberger, "Survival Analysis", chapter 4 (from memory; the tests hold published
    numbers and an independent library's).

    Examples
    --------
    Two of three units failed; the last stopped at 60 000 cycles:

    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> lives = lives_with_run_outs([41_000, 52_000, 60_000], [True, True, False])
    >>> curve = kaplan_meier(lives, confidence=0.90)
    >>> [round(step.survival, 4) for step in curve.steps]
    [0.6667, 0.3333]
    >>> curve.survival_at(50_000) == curve.steps[0].survival
    True
    >>> curve.survival_at(60_001)
    NotEstimable(reason='BEYOND_LONGEST_LIFE')
    """
    z = float(special.ndtri(check_fraction("confidence", confidence)))
    if records.has_brackets:
        return NotEstimable(reason="BRACKETED_LIVES")
    counts = _counts(records)
    return SurvivalCurve(
        steps=_survival_steps(counts, z),
        longest_cycles=counts.longest_cycles,
        unit_count=records.unit_count,
        failure_count=records.failure_count,
        confidence=confidence,
    )


def nelson_aalen(records: LifeRecords, *, confidence: float) -> HazardCurve | NotEstimable:
    """
    Cumulative hazard at each count, without an assumed life distribution.

    Parameters
    ----------
    records : LifeRecords
        Lives of the lot, as in `kaplan_meier`.
    confidence : float, 0 to 1, open, keyword only
        One-sided confidence with which each limit holds alone.

    Returns
    -------
    HazardCurve or NotEstimable
        A curve, without steps where nothing failed; or ``BRACKETED_LIVES``.

    Raises
    ------
    OutsideDomainError
        If `confidence` is not strictly between 0 and 1.

    Notes
    -----
    The hazard is the sum of ``d / n`` over the counts with d failures among n at risk,
    its variance the sum of ``d / n**2``, its limits ``H exp(+-z se / H)``. Tied failures
    count together; summing ``1/n + 1/(n-1) + ...`` instead, as some programs do, gives a
    larger hazard. J. P. Klein and M. L. Moeschberger, "Survival Analysis", chapter 4
    (from memory).

    Examples
    --------
    Two of four units failed at one count:

    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> lives = lives_with_run_outs([41_000, 41_000, 60_000, 60_000], [True, True, False, False])
    >>> nelson_aalen(lives, confidence=0.90).steps[0].cumulative_hazard
    0.5
    """
    z = float(special.ndtri(check_fraction("confidence", confidence)))
    if records.has_brackets:
        return NotEstimable(reason="BRACKETED_LIVES")
    counts = _counts(records)
    hazard = np.cumsum(counts.failures / counts.at_risk)
    deviation = np.sqrt(np.cumsum(counts.failures / (counts.at_risk * counts.at_risk)))
    factor = np.exp(z * deviation / hazard)
    steps = tuple(
        HazardStep(
            cycles=cycles,
            at_risk=int(at_risk),
            failures=int(failures),
            cumulative_hazard=value,
            standard_error=error,
            limits=SurvivalLimits(lower=value / wide, upper=value * wide),
        )
        for cycles, at_risk, failures, value, error, wide in zip(
            counts.cycles.tolist(),
            counts.at_risk.tolist(),
            counts.failures.tolist(),
            hazard.tolist(),
            deviation.tolist(),
            factor.tolist(),
            strict=True,
        )
    )
    return HazardCurve(
        steps=steps,
        longest_cycles=counts.longest_cycles,
        unit_count=records.unit_count,
        failure_count=records.failure_count,
        confidence=confidence,
    )


def _counts(records: LifeRecords) -> _Counts:
    """Failures and units at risk; a pair of ends is there once, failures before run-outs."""
    failed = np.isfinite(records.high_cycles)
    before = np.cumsum(records.counts) - records.counts
    at_risk = records.counts.sum() - before
    return _Counts(
        cycles=records.low_cycles[failed],
        failures=records.counts[failed],
        at_risk=at_risk[failed],
        longest_cycles=float(records.low_cycles.max()) if records.low_cycles.size else 0.0,
    )


def _survival_steps(counts: _Counts, z: float) -> tuple[SurvivalStep, ...]:
    """Survival with its limits; where all that were left failed at once there are none."""
    left = counts.at_risk - counts.failures
    alive = left > 0.0
    at_risk, failures = counts.at_risk[alive], counts.failures[alive]
    survival = np.cumprod(left[alive] / at_risk)
    deviation = np.sqrt(np.cumsum(failures / (at_risk * left[alive])))
    log_survival, width = np.log(survival), z * survival * deviation
    power = np.exp(-z * deviation / log_survival)
    columns = (
        counts.cycles[alive],
        at_risk.astype(np.int64),
        failures.astype(np.int64),
        survival,
        survival * deviation,
        np.maximum(survival - width, 0.0),
        np.minimum(survival + width, 1.0),
        # ln S is below 0: the larger power of S is its lower limit.
        np.exp(log_survival * power),
        np.exp(log_survival / power),
    )
    steps = [
        SurvivalStep(
            cycles=row[0],
            at_risk=row[1],
            failures=row[2],
            survival=row[3],
            standard_error=row[4],
            plain_limits=SurvivalLimits(lower=row[5], upper=row[6]),
            log_log_limits=SurvivalLimits(lower=row[7], upper=row[8]),
        )
        for row in zip(*(column.tolist() for column in columns), strict=True)
    ]
    if not alive.all():  # Only the last step can end at 0.
        steps.append(_last_step(counts))
    return tuple(steps)


def _last_step(counts: _Counts) -> SurvivalStep:
    """Step at which every unit still at risk failed."""
    return SurvivalStep(
        cycles=float(counts.cycles[-1]),
        at_risk=int(counts.at_risk[-1]),
        failures=int(counts.failures[-1]),
        survival=0.0,
        standard_error=_NOT_AT_ZERO,
        plain_limits=_NOT_AT_ZERO,
        log_log_limits=_NOT_AT_ZERO,
    )
