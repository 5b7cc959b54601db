"""Lives by pressure, and questions that contradict themselves."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec import UNSET

from schemas.acceleration import PressureLifeFit
from schemas.acceleration_requests import (
    CyclesAtPressure,
    ExponentRange,
    NewAcceleration,
    PressureLife,
)
from service.errors import InvalidRequest
from service.workflows.acceleration import Acceleration
from service.workflows.computing import Workers

pytestmark = pytest.mark.anyio

LIVES = [
    PressureLife(ending="FAILED", cycles=cycles, pressure_mpa=pressure)
    for pressure, lives in ((42.0, (10_000.0, 14_000.0, 18_000.0)), (36.0, (25_000.0, 44_000.0)))
    for cycles in lives
]


def body(**changes: Any) -> NewAcceleration:
    given = {"measure": "PEAK", "use_pressure_mpa": 30.0, "confidence": 0.9, "lives": LIVES}
    return NewAcceleration(**{**given, **changes})


async def report(**changes: Any) -> Any:
    return await Acceleration(Workers()).report(body(**changes))


async def test_lives_are_sorted_by_their_pressure() -> None:
    found = await report()
    assert isinstance(found.fit, PressureLifeFit)
    tested = [(each.pressure_mpa, each.unit_count) for each in found.fit.tested]
    assert tested == [(36.0, 2), (42.0, 3)]
    assert (found.damage, found.damage_over_assumed_exponents) == (UNSET, UNSET)


async def test_cycles_are_converted_by_the_power_of_the_pressure_ratio() -> None:
    counts = [CyclesAtPressure(pressure_mpa=60.0, cycles=100.0)]
    found = await report(pressure_counts=counts, assumed_exponents=ExponentRange(low=3.0, high=4.0))
    over = found.damage_over_assumed_exponents
    # (60 / 30)**3 and (60 / 30)**4 cycles at the use pressure for each of the 100.
    assert (over.least, over.greatest) == pytest.approx((800.0, 1600.0), rel=1e-12)
    assert found.damage.equivalent_cycles == pytest.approx(
        100.0 * 2.0**found.fit.exponent, rel=1e-12
    )


async def test_a_fitted_exponent_that_no_number_holds_is_an_answer() -> None:
    steep = [
        PressureLife(ending="FAILED", cycles=cycles, pressure_mpa=pressure)
        for pressure, lives in ((1.0, (1e14, 2e14)), (1.01, (1e-5, 2e-5)))
        for cycles in lives
    ]
    counts = [CyclesAtPressure(pressure_mpa=10_000.0, cycles=1.0)]
    found = await report(lives=steep, use_pressure_mpa=1.0, pressure_counts=counts)
    assert getattr(found.damage, "reason", None) == "SCALE_NOT_REPRESENTABLE"


async def test_exponents_in_the_wrong_order_or_without_cycles_are_refused() -> None:
    counts = [CyclesAtPressure(pressure_mpa=60.0, cycles=100.0)]
    reversed_range = ExponentRange(low=5.0, high=4.0)
    for changes, code in (
        ({"pressure_counts": counts, "assumed_exponents": reversed_range}, "RANGE_REVERSED"),
        ({"assumed_exponents": ExponentRange(low=3.0, high=4.0)}, "MISSING_FIELD"),
    ):
        with pytest.raises(InvalidRequest) as refusal:
            await report(**changes)
        assert [error.code for error in refusal.value.errors] == [code]


async def test_a_life_without_its_counts_is_refused_at_its_place() -> None:
    lives = [*LIVES, PressureLife(ending="FAILED", pressure_mpa=36.0)]
    with pytest.raises(InvalidRequest) as refusal:
        await report(lives=lives)
    assert [error.pointer for error in refusal.value.errors] == ["/lives/5"]
