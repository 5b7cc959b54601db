"""References: a general minimiser on scipy.stats' likelihood in other parameters, differences."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.optimize import minimize

from analysis.errors import OutsideDomainError
from analysis.statistics.life_records import LifeRecords, life_records, lives_with_run_outs
from analysis.statistics.pressure_life import exponent_limits, life_at_pressure, pressure_life_fit
from analysis.statistics.weibull import weibull_fit
from schemas.acceleration import LifeAtPressure, PressureLifeFit
from schemas.estimates import NotEstimable, WeibullFit
from schemas.fit_limits import Limits

Rows = list[tuple[float, float, bool]]

# Invented lots of CC25 at three pressures (MPa).
LOTS: Rows = [
    *((28.0, at, True) for at in (612_000.0, 830_000.0)),
    *((28.0, 1_000_000.0, False) for _ in range(6)),
    *((33.25, at, True) for at in (199_500.0, 287_000.0, 344_000.0, 460_000.0)),
    *((33.25, 500_000.0, False) for _ in range(3)),
    *((40.0, at, True) for at in (61_000.0, 74_500.0, 118_000.0, 131_000.0, 160_000.0)),
]


def lives_at(rows: Rows, factor: float = 1.0) -> dict[float, LifeRecords]:
    return {
        pressure * factor: lives_with_run_outs(
            [at for p, at, _ in rows if p == pressure],
            [failed for p, _, failed in rows if p == pressure],
        )
        for pressure in {p for p, _, _ in rows}
    }


def fit(rows: Rows, factor: float = 1.0) -> PressureLifeFit:
    found = pressure_life_fit(lives_at(rows, factor), measure="RANGE")
    assert isinstance(found, PressureLifeFit)
    return found


def at_pressure(found: PressureLifeFit, pressure: float, fractions: Any = ()) -> LifeAtPressure:
    life = life_at_pressure(found, pressure_mpa=pressure, confidence=0.95, fractions=fractions)
    assert isinstance(life, LifeAtPressure)
    return life


def minus_log_likelihood(point: Any, rows: Rows, reference: float) -> float:
    """In log scale at the reference pressure, exponent and log shape; by scipy.stats."""
    pressure, at, failed = (np.array(column) for column in zip(*rows, strict=True))
    life = stats.weibull_min(
        math.exp(point[2]), scale=np.exp(point[0] - point[1] * np.log(pressure / reference))
    )
    return -float(np.where(failed.astype(bool), life.logpdf(at), life.logsf(at)).sum())


def second_differences(point: Any, rows: Rows, reference: float) -> Any:
    """Hessian of minus the log-likelihood by central differences of fourth order."""
    steps, found = np.array([1e-3, 1e-3, 1e-3]), np.zeros((3, 3))

    def value(i: int, a: float, j: int, b: float) -> float:
        moved = np.array(point)
        moved[i] += a * steps[i]
        moved[j] += b * steps[j]
        return minus_log_likelihood(moved, rows, reference)

    def crossed(i: int, j: int, size: float) -> float:
        total = value(i, size, j, size) - value(i, size, j, -size)
        total += value(i, -size, j, -size) - value(i, -size, j, size)
        return total / (4 * size * size * steps[i] * steps[j])

    for i in range(3):
        for j in range(3):
            found[i, j] = (4 * crossed(i, j, 1.0) - crossed(i, j, 2.0)) / 3
    return found


def test_a_general_minimiser_finds_the_same_maximum_and_covariance() -> None:
    found = fit(LOTS)
    reference = found.central_pressure_mpa
    best = minimize(
        minus_log_likelihood,
        np.array([12.0, 4.0, 0.5]),
        args=(LOTS, reference),
        method="Nelder-Mead",
        options={"xatol": 1e-10, "fatol": 1e-13, "maxiter": 5_000, "maxfev": 5_000},
    )
    assert found.log_likelihood == pytest.approx(-best.fun, abs=1e-9)
    assert found.log_likelihood >= -best.fun - 1e-11
    assert found.central_location == pytest.approx(best.x[0], abs=1e-6)
    assert found.exponent == pytest.approx(best.x[1], abs=1e-5)
    assert math.log(found.shape) == pytest.approx(best.x[2], abs=1e-6)
    assert found.score_size < 1e-8
    here = np.array([found.central_location, found.exponent, math.log(found.shape)])
    inverse = np.linalg.inv(second_differences(here, LOTS, reference))
    each = found.covariance
    assert each.location_variance == pytest.approx(inverse[0, 0], rel=1e-5)
    assert each.exponent_variance == pytest.approx(inverse[1, 1], rel=1e-5)
    assert each.log_spread_variance == pytest.approx(inverse[2, 2], rel=1e-5)
    assert each.location_exponent == pytest.approx(inverse[0, 1], rel=1e-4, abs=1e-6)
    # The reference takes ln shape, whose covariances have the other sign.
    assert each.location_log_spread == pytest.approx(-inverse[0, 2], rel=1e-4, abs=1e-6)
    assert each.exponent_log_spread == pytest.approx(-inverse[1, 2], rel=1e-4, abs=1e-6)


def test_limits_of_a_b_life_follow_from_a_fit_in_that_b_life() -> None:
    # Delta method by another way: the fit written with ln of the B10 at 25 MPa itself.
    found, w = fit(LOTS), math.log(-math.log(0.9))
    here = np.array(
        [
            found.central_location + found.exponent * math.log(found.central_pressure_mpa / 25.0),
            found.exponent,
            math.log(found.shape),
        ]
    )
    inverse = np.linalg.inv(second_differences(here, LOTS, 25.0))
    slope = np.array([1.0, 0.0, -found.spread * w])
    error = math.sqrt(slope @ inverse @ slope)
    life = at_pressure(found, 25.0, [0.1])
    z = stats.norm.ppf(0.95)
    log_b10 = here[0] + found.spread * w
    b_life = life.b_lives[0].cycles
    assert b_life.estimate == pytest.approx(math.exp(log_b10), rel=1e-12)
    assert b_life.lower == pytest.approx(math.exp(log_b10 - z * error), rel=1e-5)
    assert b_life.upper == pytest.approx(math.exp(log_b10 + z * error), rel=1e-5)
    assert life.scale_cycles.lower == pytest.approx(
        math.exp(here[0] - z * math.sqrt(inverse[0, 0])), rel=1e-5
    )


def test_lives_that_obey_a_power_exactly_give_that_power() -> None:
    lives = np.array([120.0, 190.0, 260.0, 300.0]) * 1e3
    failed = [True, True, True, False]
    alone = weibull_fit(lives, failed)
    found = pressure_life_fit(
        {p: lives_with_run_outs(lives * (40.0 / p) ** 7.5, failed) for p in (28.0, 33.0, 40.0)},
        measure="PEAK",
    )
    assert isinstance(found, PressureLifeFit) and isinstance(alone, WeibullFit)
    assert found.exponent == pytest.approx(7.5, rel=1e-10)
    assert found.shape == pytest.approx(alone.shape, rel=1e-10)
    scale = at_pressure(found, 40.0).scale_cycles.estimate
    assert scale == pytest.approx(alone.scale_cycles, rel=1e-10)


@given(st.lists(st.tuples(st.integers(1, 400), st.booleans()), min_size=6, max_size=24))
@settings(max_examples=40, deadline=None)
def test_the_unit_of_pressure_changes_neither_exponent_nor_lives(lot: Any) -> None:
    pressures = (28.0, 33.25, 40.0)
    rows = [(pressures[i % 3], 1e3 * at, failed) for i, (at, failed) in enumerate(lot)]
    here = pressure_life_fit(lives_at(rows), measure="PEAK")
    assume(isinstance(here, PressureLifeFit))
    in_bar = fit(rows, factor=10.0)
    assert in_bar.exponent == pytest.approx(here.exponent, rel=1e-7, abs=1e-7)
    assert in_bar.shape == pytest.approx(here.shape, rel=1e-7)
    mpa, bar = at_pressure(here, 25.0, [0.1]), at_pressure(in_bar, 250.0, [0.1])
    for one, other in ((mpa.scale_cycles, bar.scale_cycles), (mpa.b_lives[0].cycles,) * 2):
        assert other.estimate == pytest.approx(one.estimate, rel=1e-6)
        assert other.lower == pytest.approx(one.lower, rel=1e-5)


def test_limits_grow_with_the_distance_from_the_tested_pressures() -> None:
    found = fit(LOTS)
    lives = [at_pressure(found, p).scale_cycles for p in (28.0, 25.0, 20.0, 14.0, 7.0)]
    widths = [math.log(each.upper / each.lower) for each in lives]
    assert widths == sorted(widths) and widths[-1] > 3 * widths[0]


@pytest.mark.parametrize(
    ("pressure", "standing", "ratio"),
    [
        (28.0, "WITHIN_TESTED_PRESSURES", 1.0),
        (30.0, "WITHIN_TESTED_PRESSURES", 1.0),
        (40.0, "WITHIN_TESTED_PRESSURES", 1.0),
        (14.0, "EXTRAPOLATED", 2.0),
        (60.0, "EXTRAPOLATED", 1.5),
    ],
)
def test_a_pressure_outside_those_tested_is_marked(
    pressure: float, standing: str, ratio: float
) -> None:
    life = at_pressure(fit(LOTS), pressure)
    assert (life.standing, life.outside_ratio) == (standing, ratio)
    assert (life.lowest_tested_mpa, life.highest_tested_mpa) == (28.0, 40.0)


def test_brackets_narrow_around_a_failure_give_the_fit_to_the_failure() -> None:
    exact = fit(LOTS)
    around = {
        pressure: life_records(
            [at * 0.9999 if failed else at for p, at, failed in LOTS if p == pressure],
            [at * 1.0001 if failed else math.inf for p, at, failed in LOTS if p == pressure],
        )
        for pressure in (28.0, 33.25, 40.0)
    }
    found = pressure_life_fit(around, measure="RANGE")
    assert isinstance(found, PressureLifeFit)
    assert found.exponent == pytest.approx(exact.exponent, rel=1e-6)
    assert found.shape == pytest.approx(exact.shape, rel=1e-6)


def test_the_answer_says_what_it_rests_on() -> None:
    found = fit(LOTS)
    assert found.assumptions == ("ONE_FAILURE_MODE", "COMMON_SHAPE", "NO_FATIGUE_LIMIT")
    assert found.measure == "RANGE"
    assert [(each.unit_count, each.failure_count) for each in found.tested] == [
        (8, 2),
        (7, 4),
        (5, 5),
    ]
    assert found.tested[0].longest_cycles == 1_000_000
    limits = exponent_limits(found, confidence=0.95)
    assert isinstance(limits, Limits)
    assert limits.upper - limits.estimate == pytest.approx(
        stats.norm.ppf(0.95) * math.sqrt(found.covariance.exponent_variance), rel=1e-12
    )


@pytest.mark.parametrize(
    ("rows", "reason"),
    [
        ([], "NO_FAILURES"),
        ([(28.0, 5.0, False), (40.0, 5.0, False)], "NO_FAILURES"),
        (
            [(28.0, 9.0, False), (40.0, 5.0, True), (40.0, 6.0, True)],
            "FEWER_THAN_TWO_FAILURE_PRESSURES",
        ),
        ([(28.0, 9.0, True), (40.0, 5.0, True)], "ONE_LINE_FITS_ALL"),
        ([(28.0, 9.0, True), (28.0, 8.0, False), (40.0, 5.0, True)], "ONE_LINE_FITS_ALL"),
        ([(28.0, 9.0, True), (28.0, 9.0, True), (40.0, 5.0, True)], "ONE_LINE_FITS_ALL"),
    ],
)
def test_lives_that_show_no_power_are_refused_with_the_reason(rows: Rows, reason: str) -> None:
    assert pressure_life_fit(lives_at(rows), measure="PEAK") == NotEstimable(reason=reason)


def test_one_failure_at_each_of_two_pressures_is_enough_below_other_lives() -> None:
    rows: Rows = [(28.0, 9e5, True), (28.0, 1e6, False), (40.0, 1e5, True), (40.0, 2e5, False)]
    found = fit(rows)
    assert found.failure_count == 2 and found.score_size < 1e-8


def test_a_life_beyond_every_number_is_not_given() -> None:
    found = fit(LOTS)
    life = life_at_pressure(found, pressure_mpa=1e-60, confidence=0.9, fractions=[])
    assert life == NotEstimable(reason="SCALE_NOT_REPRESENTABLE")
    scale = at_pressure(found, 1e-36).scale_cycles
    assert math.isfinite(scale.estimate)
    assert scale.upper == NotEstimable(reason="NO_FINITE_LIMIT")


@pytest.mark.parametrize(
    "arguments",
    [
        {"pressure_mpa": 0.0},
        {"pressure_mpa": math.nan},
        {"confidence": 1.0},
        {"fractions": [0.1, 1.0]},
    ],
)
def test_arguments_outside_their_ranges_are_refused(arguments: dict[str, Any]) -> None:
    given_values: dict[str, Any] = {"pressure_mpa": 25.0, "confidence": 0.9, "fractions": [0.1]}
    with pytest.raises(OutsideDomainError, match=next(iter(arguments))):
        life_at_pressure(fit(LOTS), **{**given_values, **arguments})


def test_pressures_and_measures_that_are_none_are_refused() -> None:
    with pytest.raises(OutsideDomainError, match="lives_at"):
        pressure_life_fit({-1.0: lives_with_run_outs([5.0], [True])}, measure="PEAK")
    with pytest.raises(OutsideDomainError, match="measure"):
        pressure_life_fit(lives_at(LOTS), measure="MEAN")  # type: ignore[arg-type]
