"""Whether lives at several pressures contradict a power law with one shape."""

import math
from collections.abc import Mapping

import numpy as np
from scipy import special

from analysis.checks import check_positive
from analysis.statistics.life_records import LifeRecords
from analysis.statistics.pressure_likelihood import Maximum, greatest_likelihood
from schemas.acceleration import LikelihoodRatio, PressureChecks, ShapeAtPressure
from schemas.estimates import NotEstimable

_FEW = 5  # With so few failures in a group a chi-square tail is a guide only.


def pressure_checks(lives_at: Mapping[float, LifeRecords]) -> PressureChecks | NotEstimable:
    """
    Likelihood-ratio checks of one shape at all pressures, and of the power law.

    Parameters
    ----------
    lives_at : mapping of float to LifeRecords
        Lives of the units tested at each pressure. Pressures in MPa, above 0.

    Returns
    -------
    PressureChecks or NotEstimable
        Over the pressures whose units give a Weibull of their own; or
        ``FEWER_THAN_TWO_GROUPS`` where fewer than two do. `power_law` is
        ``TWO_PRESSURES_FIT_ANY_LINE`` with two.

    Raises
    ------
    OutsideDomainError
        If a pressure is not above 0.

    Notes
    -----
    Twice the gain in log-likelihood of own shapes and scales over own scales with one
    shape (k - 1 degrees of freedom), and of own scales over a line (k - 2), against the
    chi-square distribution. J. F. Lawless, "Statistical Models and Methods for Lifetime
    Data" (from memory). With 5 or fewer failures in a group the tail is a guide only. A
    large p-value is no proof that the pressures agree.

    Examples
    --------
    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> checks = pressure_checks({
    ...     42.0: lives_with_run_outs([301_000, 455_200, 520_700], [True] * 3),
    ...     50.0: lives_with_run_outs([95_200, 140_300, 171_800], [True] * 3),
    ... })
    >>> checks.common_shape.degrees_of_freedom, checks.few_failures
    (1, True)
    >>> checks.power_law
    NotEstimable(reason='TWO_PRESSURES_FIT_ANY_LINE')
    """
    fits: dict[float, tuple[LifeRecords, Maximum]] = {}
    left_out = []
    for pressure, records in sorted(lives_at.items()):
        check_positive("lives_at", pressure)
        found = _alone(records)
        if isinstance(found, NotEstimable):
            left_out.append(pressure)
        else:
            fits[pressure] = (records, found)
    if len(fits) < 2:
        return NotEstimable(reason="FEWER_THAN_TWO_GROUPS")
    groups = [records for records, _ in fits.values()]
    common = greatest_likelihood(groups, np.eye(len(groups)))
    if isinstance(common, NotEstimable):  # Each group alone has a maximum, so all have.
        return common
    apart = sum(found.log_likelihood for _, found in fits.values())
    return PressureChecks(
        shapes=tuple(
            ShapeAtPressure(
                pressure_mpa=pressure,
                failure_count=records.failure_count,
                shape=found.shape,
                scale_cycles=math.exp(found.center + float(found.beta[0])),
            )
            for pressure, (records, found) in fits.items()
        ),
        shape_in_common=common.shape,
        common_shape=_ratio(apart - common.log_likelihood, len(fits) - 1),
        power_law=_power_law(list(fits), groups, common),
        few_failures=min(records.failure_count for records in groups) <= _FEW,
        left_out_mpa=tuple(left_out),
    )


def _alone(records: LifeRecords) -> Maximum | NotEstimable:
    """Weibull of one pressure's units, if there is one that a computer can hold."""
    if not records.counts.size or not records.failure_count:
        return NotEstimable(reason="NO_FAILURES")
    found = greatest_likelihood([records], np.ones((1, 1)))
    if not isinstance(found, NotEstimable) and abs(found.center + float(found.beta[0])) > 709.0:
        return NotEstimable(reason="SCALE_NOT_REPRESENTABLE")
    return found


def _power_law(
    pressures: list[float], groups: list[LifeRecords], common: Maximum
) -> LikelihoodRatio | NotEstimable:
    """Own scales against a line in ln P."""
    if len(pressures) == 2:
        return NotEstimable(reason="TWO_PRESSURES_FIT_ANY_LINE")
    logs = np.log(np.array(pressures))
    design = np.column_stack((np.ones(logs.size), logs.mean() - logs))
    line = greatest_likelihood(groups, design)
    if isinstance(line, NotEstimable):
        return line
    return _ratio(common.log_likelihood - line.log_likelihood, len(pressures) - 2)


def _ratio(gain: float, degrees_of_freedom: int) -> LikelihoodRatio:
    """Statistic and tail; a gain below 0 is rounding."""
    statistic = max(0.0, 2.0 * gain)
    return LikelihoodRatio(
        statistic=statistic,
        degrees_of_freedom=degrees_of_freedom,
        p_value=float(special.gammaincc(0.5 * degrees_of_freedom, 0.5 * statistic)),
    )
