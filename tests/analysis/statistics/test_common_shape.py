"""One shape for several lots against searches written without it, and its lean by simulation."""

import math

import numpy as np
import pytest
from scipy import integrate, optimize, stats

from analysis.errors import DidNotConvergeError
from analysis.statistics.common_shape import (
    best_common_shape,
    best_place,
    free_scale_lean,
    likelihood_drop,
    shape_limit,
    shape_profile,
)
from analysis.statistics.life_records import LifeRecords, life_records, lives_with_run_outs
from analysis.statistics.log_likelihood import sort_lives

INF = math.inf
EXACT = {
    "L1": lives_with_run_outs([310, 450, 520, 750], [True, True, True, False], counts=[1, 2, 1, 4]),
    "L2": lives_with_run_outs([150, 210, 260, 390, 600], [True, True, True, True, False]),
    "L3": lives_with_run_outs([400, 900], [True, False], counts=[1, 6]),
}
BRACKETED = {
    "L1": life_records([0, 200, 400, 600], [200, 400, 400, INF], counts=[1, 2, 1, 4]),
    "L2": life_records([100, 200, 300, 520], [200, 300, 400, 520]),
}


def plain_log_likelihood(lots: dict[str, LifeRecords], shape: float, scales: list[float]):
    """Life by life, in cycles, as the density and the survival are printed."""
    total = 0.0
    for records, scale in zip(lots.values(), scales, strict=True):
        for low, high, count in zip(
            records.low_cycles, records.high_cycles, records.counts, strict=True
        ):
            alive = math.exp(-((low / scale) ** shape))
            if low == high:
                total += count * math.log(shape / scale * (low / scale) ** (shape - 1.0) * alive)
            elif math.isinf(high):
                total += count * math.log(alive)
            else:
                total += count * math.log(alive - math.exp(-((high / scale) ** shape)))
    return total


def sorted_lots(lots: dict[str, LifeRecords]):
    return [sort_lives(records, "WEIBULL") for records in lots.values()]


@pytest.mark.parametrize("lots", [EXACT, BRACKETED], ids=["exact", "bracketed"])
def test_the_common_shape_is_what_a_search_over_all_scales_finds(
    lots: dict[str, LifeRecords],
) -> None:
    found = optimize.minimize(
        lambda at: -plain_log_likelihood(lots, math.exp(at[0]), list(np.exp(at[1:]))),
        [0.5, *[math.log(500)] * len(lots)],
        method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 5_000, "maxfev": 5_000},
    )
    shape, profile = best_common_shape(sorted_lots(lots), start=0.3)
    assert profile.value == pytest.approx(-found.fun, abs=1e-8)
    assert shape == pytest.approx(math.exp(found.x[0]), rel=1e-5)
    scales = [
        math.exp(lives.center + place / shape)
        for lives, place in zip(sorted_lots(lots), profile.places, strict=True)
    ]
    assert scales == pytest.approx(list(np.exp(found.x[1:])), rel=1e-5)


@pytest.mark.parametrize("lots", [EXACT, BRACKETED], ids=["exact", "bracketed"])
@pytest.mark.parametrize("shape", [0.3, 1.7, 9.0])
def test_slope_and_bend_are_those_of_the_value(lots: dict[str, LifeRecords], shape: float) -> None:
    lives = sorted_lots(lots)
    step = 1e-4 * shape
    at = [shape_profile(lives, shape + shift * step) for shift in (-1, 0, 1)]
    assert at[1].slope == pytest.approx((at[2].value - at[0].value) / (2 * step), rel=1e-5)
    assert at[1].bend == pytest.approx((at[2].slope - at[0].slope) / (2 * step), rel=1e-5)
    turns = [
        (after - before) / (2 * step)
        for before, after in zip(at[0].places, at[2].places, strict=True)
    ]
    assert list(at[1].turns) == pytest.approx(turns, rel=1e-5)


def test_the_best_place_has_no_slope_for_bracketed_lives() -> None:
    lives = sort_lives(BRACKETED["L1"], "WEIBULL")
    found = optimize.minimize_scalar(
        lambda log_scale: (
            -plain_log_likelihood({"L1": BRACKETED["L1"]}, 2.5, [math.exp(log_scale)])
        ),
        bounds=(4, 8),
        method="bounded",
        options={"xatol": 1e-10},
    )
    assert lives.center + best_place(lives, 2.5) / 2.5 == pytest.approx(found.x, abs=1e-7)


def test_the_start_of_the_search_does_not_matter() -> None:
    lives = sorted_lots(EXACT)
    shapes = [best_common_shape(lives, start=start)[0] for start in (0.01, 1.0, 300.0)]
    assert shapes == pytest.approx([shapes[1]] * 3, rel=1e-12)


def test_a_search_without_a_maximum_ends_with_an_error() -> None:
    tied = sort_lives(lives_with_run_outs([500], [True], counts=[3]), "WEIBULL")
    with pytest.raises(DidNotConvergeError):
        best_common_shape([tied], start=1.0)


def test_a_complete_lot_with_a_lean_of_one_is_integrated_over_its_location() -> None:
    # The quadrature knows nothing of the closed form: density of log lives over all locations.
    y = np.log(np.array([310.0, 450.0, 520.0, 750.0]))
    lives = sort_lives(lives_with_run_outs(np.exp(y), [True] * 4), "WEIBULL")

    def integrated(shape: float) -> float:
        def density(location: float) -> float:
            z = shape * (y - location)
            return math.exp(float((z - np.exp(z)).sum()) + 4 * math.log(shape))

        return math.log(integrate.quad(density, 0.0, 14.0, points=[6.2], epsrel=1e-12)[0])

    def corrected(shape: float) -> float:
        return shape_profile([lives], shape).value - free_scale_lean(1.0) * math.log(shape)

    for shape in (1.5, 6.0):
        assert corrected(shape) - corrected(3.0) == pytest.approx(
            integrated(shape) - integrated(3.0), abs=1e-7
        )


@pytest.mark.parametrize("share", [0.3, 0.6, 0.9, 1.0])
def test_the_lean_is_the_mean_slope_at_the_true_shape(share: float) -> None:
    # Lots of 40 units and shape 1, whose slope has a standard error of 0.04 over all lots.
    rng = np.random.default_rng(20)
    stop = -math.log1p(-share) if share < 1.0 else INF
    hazards = rng.exponential(size=(40_000, 40))
    failed = hazards < stop
    lived = np.minimum(hazards, stop)
    logs = np.log(lived)
    failures = failed.sum(axis=1)
    mean = (lived * logs).sum(axis=1) / lived.sum(axis=1)
    slopes = failures + (logs * failed).sum(axis=1) - failures * mean
    assert slopes.mean() == pytest.approx(free_scale_lean(share), abs=0.15)


def test_the_lean_grows_from_nothing_to_one_without_a_step() -> None:
    shares = np.concatenate([np.geomspace(1e-6, 0.1, 200), np.linspace(0.101, 1.0, 500)])
    leans = np.array([free_scale_lean(float(share)) for share in shares])
    assert (np.diff(leans) > 0.0).all()
    assert leans[0] < 1e-6 and leans[-1] == 1.0
    assert free_scale_lean(1e-3 * 1.001) == pytest.approx(free_scale_lean(1e-3 * 0.999), rel=0.01)


def test_the_drop_is_half_the_chi_square_quantile() -> None:
    for confidence in (0.6, 0.9, 0.995):
        assert likelihood_drop(confidence) == pytest.approx(
            stats.chi2.ppf(2 * confidence - 1, 1) / 2, rel=1e-12
        )


def test_a_limit_that_is_never_reached_is_none() -> None:
    assert shape_limit(lambda _: 0.0, peak_shape=2.0, least_value=-1.0, upward=True) is None
    assert shape_limit(
        lambda shape: -abs(math.log(shape)), peak_shape=1.0, least_value=-3.0, upward=False
    ) == pytest.approx(math.exp(-3.0), rel=1e-10)
