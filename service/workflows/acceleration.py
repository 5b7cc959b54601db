"""Life against pressure from lives that a caller sends; nothing is recorded."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from msgspec import UNSET, UnsetType

from analysis.errors import OutsideDomainError
from analysis.statistics.life_records import LifeRecords, life_records
from analysis.statistics.pressure_checks import pressure_checks
from analysis.statistics.pressure_damage import damage_sum, equivalent_range
from analysis.statistics.pressure_life import (
    exponent_limits,
    life_at_pressure,
    pressure_life_fit,
)
from schemas.acceleration import DamageSum, EquivalentRange, LifeAtPressure, PressureLifeFit
from schemas.acceleration_requests import AccelerationReport, NewAcceleration, PressureLife
from schemas.estimates import NotEstimable
from schemas.fit_limits import Limits
from schemas.problems import ProblemError
from service.errors import InvalidRequest
from service.workflows.computing import Workers
from service.workflows.fit_report import settled
from service.workflows.given_lives import checked_ends


class Acceleration:
    """Questions about life at a pressure other than the tested ones."""

    def __init__(self, workers: Workers) -> None:
        self._workers = workers

    async def report(self, body: NewAcceleration) -> AccelerationReport:
        """
        Fit life against pressure, and say what it means at the use pressure.

        Raises
        ------
        InvalidRequest
            If a life lacks what its ending needs, the exponents are in the wrong order, or
            they are given without cycles to be converted.
        OutsideDomainError
            If a number is outside the range of a method.
        """
        _check_exponents(body)
        lives_at = _by_pressure(body.lives)
        return await self._workers.run(lambda: acceleration_report(lives_at, body))


def acceleration_report(
    lives_at: dict[float, LifeRecords], body: NewAcceleration
) -> AccelerationReport:
    """The report on lives that are sorted by pressure already."""
    fit = settled(lambda: pressure_life_fit(lives_at, measure=body.measure))
    return AccelerationReport(
        measure=body.measure,
        use_pressure_mpa=body.use_pressure_mpa,
        confidence=body.confidence,
        fit=fit,
        shape=fit.shape if isinstance(fit, PressureLifeFit) else UNSET,
        exponent=_exponent(fit, body),
        at_use_pressure=_at_use(fit, body),
        checks=settled(lambda: pressure_checks(lives_at)),
        damage=_damage(fit, body),
        damage_over_assumed_exponents=_over_assumed(body),
    )


def _check_exponents(body: NewAcceleration) -> None:
    assumed = body.assumed_exponents
    if assumed is UNSET:
        return
    if assumed.low > assumed.high:
        error = ProblemError(
            code="RANGE_REVERSED",
            detail="low must not be above high.",
            pointer="/assumed_exponents/low",
        )
        raise InvalidRequest([error])
    if not body.pressure_counts:
        error = ProblemError(
            code="MISSING_FIELD",
            detail="assumed_exponents convert pressure_counts; give these too.",
            pointer="",
        )
        raise InvalidRequest([error])


def _by_pressure(lives: Sequence[PressureLife]) -> dict[float, LifeRecords]:
    """Lives of each pressure, lowest first."""
    ends = checked_ends(lives)
    grouped: dict[float, list[tuple[float, float, int]]] = defaultdict(list)
    for life, (low, high) in zip(lives, ends, strict=True):
        grouped[life.pressure_mpa].append((low, high, life.count))
    return {
        pressure: life_records(
            [low for low, _, _ in each],
            [high for _, high, _ in each],
            counts=[count for _, _, count in each],
        )
        for pressure, each in sorted(grouped.items())
    }


def _exponent(fit: PressureLifeFit | NotEstimable, body: NewAcceleration) -> Limits | UnsetType:
    if isinstance(fit, NotEstimable):
        return UNSET
    return exponent_limits(fit, confidence=body.confidence)


def _at_use(
    fit: PressureLifeFit | NotEstimable, body: NewAcceleration
) -> LifeAtPressure | NotEstimable:
    if isinstance(fit, NotEstimable):
        return fit
    return life_at_pressure(
        fit,
        pressure_mpa=body.use_pressure_mpa,
        confidence=body.confidence,
        fractions=body.fractions,
    )


def _damage(
    fit: PressureLifeFit | NotEstimable, body: NewAcceleration
) -> DamageSum | NotEstimable | UnsetType:
    """Cycles at the use pressure by the fitted exponent, where cycles were given."""
    if not body.pressure_counts:
        return UNSET
    if isinstance(fit, NotEstimable):
        return fit
    if fit.exponent < 0.0:
        return NotEstimable(reason="EXPONENT_BELOW_ZERO")
    try:
        return damage_sum(
            [each.pressure_mpa for each in body.pressure_counts],
            counts=[each.cycles for each in body.pressure_counts],
            use_pressure_mpa=body.use_pressure_mpa,
            exponent=fit.exponent,
        )
    except OutsideDomainError:
        # The exponent is ours and not the caller's: an answer, no refusal of the request.
        return NotEstimable(reason="SCALE_NOT_REPRESENTABLE")


def _over_assumed(body: NewAcceleration) -> EquivalentRange | UnsetType:
    assumed = body.assumed_exponents
    if assumed is UNSET:
        return UNSET
    return equivalent_range(
        [each.pressure_mpa for each in body.pressure_counts],
        counts=[each.cycles for each in body.pressure_counts],
        use_pressure_mpa=body.use_pressure_mpa,
        exponent_low=assumed.low,
        exponent_high=assumed.high,
    )
