"""References: a profile by a general minimiser and brentq per limit (textbook_limits), closed
forms of the exponential, and the duality of lives and reliabilities."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import chi2
from textbook_limits import FORMS, Lives, Textbook

from analysis.errors import OutsideDomainError
from analysis.statistics.life_fit import life_fit
from analysis.statistics.life_records import LifeRecords, life_records, lives_with_run_outs
from analysis.statistics.likelihood_limits import likelihood_limits
from schemas.estimates import NotEstimable
from schemas.fit_limits import FitLimits
from schemas.fits import LifeFit

WHOLE = math.inf
RIG_LOT = lives_with_run_outs([41_000, 52_000, *[60_000] * 10], [True, True, *[False] * 10])
NO_LIMIT = NotEstimable(reason="NO_FINITE_LIMIT")


def limits_of(
    records: LifeRecords,
    distribution: Any = "WEIBULL",
    confidence: float = 0.95,
    at_cycles: Any = (),
    fractions: Any = (),
) -> FitLimits:
    found = likelihood_limits(
        records,
        distribution,
        confidence=confidence,
        at_cycles=at_cycles,
        fractions=fractions,
    )
    assert isinstance(found, FitLimits)
    return found


def rig_lot(seed: int, units: int, failures: int, shape: float, scale: float) -> LifeRecords:
    """All units stopped just before the next one would have failed."""
    lives = np.sort(scale * np.random.default_rng(seed).weibull(shape, units))
    failed = np.arange(units) < failures
    stop = lives[min(failures, units - 1)]
    return lives_with_run_outs(np.where(failed, lives, stop), failed)


HARD_LOTS = {
    "1 of 30": rig_lot(1, 30, 1, 2.0, 2e5),
    "2 of 30": rig_lot(2, 30, 2, 2.0, 2e5),
    "2 of 500": rig_lot(3, 500, 2, 2.0, 2e5),
    "3 of 10": rig_lot(4, 10, 3, 2.0, 2e5),
    "5 of 20, shape 0.4": rig_lot(5, 20, 5, 0.4, 2e5),
    "5 of 20, shape 15": rig_lot(6, 20, 5, 15.0, 2e5),
    "counts to 1e11": rig_lot(7, 20, 5, 1.0, 1e11),
    "10 of 4082": rig_lot(8, 4_082, 10, 0.3, 1e4),
    "complete": rig_lot(9, 8, 8, 3.0, 50.0),
    "ties": lives_with_run_outs([50, 50, 50, 90, 90], [True, True, True, False, False]),
    "mixed run-outs": lives_with_run_outs(
        [300, 410, 500, 620, 700, 810], [False, True, False, True, True, False]
    ),
    "inspected": life_records(
        [0, 100, 200, 300, 400], [100, 200, 300, 400, WHOLE], counts=[1, 4, 6, 3, 5]
    ),
    "exact, left and bracketed": life_records(
        [0, 150, 220, 260, 300], [120, 150, 240, 400, WHOLE], counts=[1, 2, 3, 1, 4]
    ),
    "narrow brackets": life_records([99.9999, 150, 200], [100, 150.001, WHOLE], counts=[1, 2, 3]),
}


@pytest.mark.parametrize("distribution", ["WEIBULL", "LOGNORMAL"])
def test_the_textbooks_likelihood_is_that_of_scipys_distributions(distribution: str) -> None:
    records = HARD_LOTS["exact, left and bracketed"]
    form = FORMS[distribution](loc=5.2, scale=0.4)
    expected = math.fsum(
        count * (form.logpdf(math.log(low)) - math.log(low))
        if low == high
        else count * math.log(form.sf(math.log(low) if low else -WHOLE) - form.sf(math.log(high)))
        for low, high, count in zip(
            records.low_cycles, records.high_cycles, records.counts, strict=True
        )
    )
    assert Lives(records, distribution).log_likelihood(5.2, 0.4) == pytest.approx(expected)


@pytest.mark.parametrize("distribution", ["WEIBULL", "LOGNORMAL"])
@pytest.mark.parametrize("name", HARD_LOTS)
def test_every_limit_is_that_of_a_profile_and_a_root_finder(name: str, distribution: str) -> None:
    records = HARD_LOTS[name]
    fit = life_fit(records, distribution)  # type: ignore[arg-type]
    assert isinstance(fit, LifeFit)
    at = math.exp(fit.location - 1.5 * fit.spread)
    found = limits_of(records, distribution, 0.95, [at], [0.1])
    textbook = Textbook(records, distribution, (fit.location, fit.spread), 0.95)
    pairs = [
        (found.location, textbook.location_limits()),
        (found.spread, tuple(math.exp(each) for each in textbook.spread_limits())),
        (found.reliability[0], textbook.reliability_limits(at)),
    ]
    for ours, (lower, upper) in pairs:
        assert ours.lower == pytest.approx(lower, rel=1e-8)
        assert ours.upper == pytest.approx(upper, rel=1e-8)
    low, high = textbook.log_life_limits(0.1)
    assert found.b_lives[0].lower_cycles == pytest.approx(math.exp(low), rel=1e-7)
    assert found.b_lives[0].upper_cycles == pytest.approx(math.exp(high), rel=1e-7)
    assert found.shape.lower == pytest.approx(1.0 / found.spread.upper, rel=1e-12)  # type: ignore[operator]


@pytest.mark.parametrize("confidence", [0.6, 0.99, 0.9999])
@pytest.mark.parametrize("name", ["1 of 30", "2 of 500", "inspected"])
def test_low_and_high_confidences_find_the_same_limits(name: str, confidence: float) -> None:
    records = HARD_LOTS[name]
    fit = life_fit(records, "WEIBULL")
    assert isinstance(fit, LifeFit)
    textbook = Textbook(records, "WEIBULL", (fit.location, fit.spread), confidence)
    at = math.exp(fit.location - 2.0 * fit.spread)
    found = limits_of(records, "WEIBULL", confidence, [at])
    lower, upper = textbook.reliability_limits(at)
    assert found.reliability[0].lower == pytest.approx(lower, rel=1e-8)
    assert found.reliability[0].upper == pytest.approx(upper, rel=1e-8)


def test_two_hundred_counts_give_what_each_gives_alone() -> None:
    counts = np.geomspace(5_000, 300_000, 200).tolist()
    together = limits_of(RIG_LOT, at_cycles=counts, fractions=[0.01, 0.1])
    for place in (0, 77, 199):
        alone = limits_of(RIG_LOT, at_cycles=[counts[place]])
        assert together.reliability[place].lower == pytest.approx(
            alone.reliability[0].lower, rel=1e-11
        )
    lowers = [each.lower for each in together.reliability]
    assert lowers == sorted(lowers, reverse=True)


def test_a_reliability_limit_at_a_life_limit_is_the_lifes_own_fraction() -> None:
    for distribution in ("WEIBULL", "LOGNORMAL", "EXPONENTIAL"):
        (life,) = limits_of(RIG_LOT, distribution, 0.9, (), [0.1]).b_lives
        ends = [life.lower_cycles, life.upper_cycles]
        lower, upper = limits_of(RIG_LOT, distribution, 0.9, ends).reliability
        assert lower.lower == pytest.approx(0.9, rel=1e-12)
        assert upper.upper == pytest.approx(0.9, rel=1e-12)


def test_the_exponential_has_the_two_ends_of_its_own_equation() -> None:
    # With r failures in a total of T cycles the drop is r (u - 1 - ln u), u = estimate / scale.
    lives, failed = [41_000.0, 52_000.0, 60_000.0, 60_000.0], [True, True, False, True]
    found = limits_of(lives_with_run_outs(lives, failed), "EXPONENTIAL", 0.95, [30_000], [0.1])
    drop = 0.5 * float(chi2.ppf(0.9, 1)) / 3
    above, below = (
        brentq(lambda u: u - 1 - math.log(u) - drop, *ends, xtol=1e-15)
        for ends in ((1.0, 50.0), (1e-6, 1.0))
    )
    estimate = sum(lives) / 3
    assert found.scale_cycles.estimate == pytest.approx(estimate)
    assert found.scale_cycles.lower == pytest.approx(estimate / above, rel=1e-12)
    assert found.scale_cycles.upper == pytest.approx(estimate / below, rel=1e-12)
    assert found.reliability[0].lower == pytest.approx(math.exp(-30_000 * above / estimate))
    assert found.b_lives[0].lower_cycles == pytest.approx(-math.log(0.9) * estimate / above)
    assert found.shape.lower == NotEstimable(reason="SHAPE_NOT_FITTED") == found.spread.upper


ONCE = life_records([0, 50, 0, 100], [50, WHOLE, 100, WHOLE], counts=[2, 8, 4, 6])
"""Each unit looked at once: 2 of 10 had failed at 50 cycles, 4 of 10 at 100."""


@pytest.mark.parametrize("distribution", ["WEIBULL", "LOGNORMAL"])
def test_units_looked_at_once_may_leave_the_shape_without_a_lower_limit(distribution: Any) -> None:
    found = limits_of(ONCE, distribution, 0.95, [75.0], [0.1, 0.9])
    assert found.shape.lower == NO_LIMIT == found.spread.upper
    assert isinstance(found.shape.upper, float)
    assert found.scale_cycles.upper == NO_LIMIT
    assert found.b_lives[0].lower_cycles == NO_LIMIT
    assert found.b_lives[1].upper_cycles == NO_LIMIT
    reliability = found.reliability[0]
    assert reliability.lower == pytest.approx(slowly(ONCE, distribution, 75.0, True), abs=1e-7)
    assert reliability.upper == pytest.approx(slowly(ONCE, distribution, 75.0, False), abs=1e-7)


def slowly(records: LifeRecords, distribution: str, cycles: float, lower: bool) -> float:
    """Reliability limit with the shape bounded below by (almost) 0, by a profile over it."""
    lives, fit = Lives(records, distribution), life_fit(records, distribution)  # type: ignore[arg-type]
    assert isinstance(fit, LifeFit)
    y = math.log(cycles)
    level = lives.log_likelihood(fit.location, fit.spread)
    level -= 0.5 * float(chi2.ppf(0.9, 1))

    def profile(standard: float) -> float:
        def loss(b: float) -> float:
            return -lives.log_likelihood(y - standard / b, 1.0 / b)

        best = minimize_scalar(
            loss, bounds=(1e-9, 30.0), method="bounded", options={"xatol": 1e-11}
        )
        return -min(float(best.fun), loss(1e-9)) - level

    at = (y - fit.location) / fit.spread
    end = brentq(profile, at, at + (5.0 if lower else -5.0), xtol=1e-12)
    return float(FORMS[distribution].sf(end))


def test_at_a_lower_confidence_the_same_units_have_every_limit() -> None:
    # The likelihood at shape 0 is a ratio test of 2 of 10 against 4 of 10: it is below C 0.65.
    found = limits_of(ONCE, "WEIBULL", 0.65, [75.0], [0.1])
    textbook_fit = life_fit(ONCE, "WEIBULL")
    assert isinstance(textbook_fit, LifeFit)
    textbook = Textbook(ONCE, "WEIBULL", (textbook_fit.location, textbook_fit.spread), 0.65)
    assert found.spread.upper == pytest.approx(math.exp(textbook.spread_limits()[1]), rel=1e-8)
    assert found.scale_cycles.upper == pytest.approx(
        math.exp(textbook.location_limits()[1]), rel=1e-8
    )


def test_a_limit_beyond_all_numbers_is_said_not_to_exist() -> None:
    lot = rig_lot(3, 500, 1, 1.0, 2e5)
    found = limits_of(lot, "WEIBULL", 0.99999)
    assert found.scale_cycles.upper == NO_LIMIT
    assert found.location.upper > 709.0  # type: ignore[operator]
    assert isinstance(found.scale_cycles.lower, float)


@pytest.mark.parametrize(
    ("records", "reason"),
    [
        (lives_with_run_outs([60, 60], [False, False]), "NO_FAILURES"),
        (lives_with_run_outs([50, 60], [False, True]), "FAILURES_ONLY_AT_LONGEST_LIFE"),
    ],
)
def test_a_lot_without_a_fit_has_no_limits(records: LifeRecords, reason: str) -> None:
    assert likelihood_limits(
        records, "WEIBULL", confidence=0.9, at_cycles=[], fractions=[]
    ) == NotEstimable(reason=reason)


@pytest.mark.parametrize("confidence", [0.5, 0.3, 0.0, 1.0, math.nan])
def test_a_confidence_no_better_than_a_coin_is_refused(confidence: float) -> None:
    with pytest.raises(OutsideDomainError, match="confidence"):
        limits_of(RIG_LOT, confidence=confidence)


@pytest.mark.parametrize(
    "asked", [{"at_cycles": [5, 0]}, {"at_cycles": [math.inf]}, {"fractions": [0.1, 1.0]}]
)
def test_a_count_or_fraction_out_of_range_is_refused(asked: dict[str, Any]) -> None:
    with pytest.raises(OutsideDomainError, match=next(iter(asked))):
        limits_of(RIG_LOT, **asked)


lots = st.lists(st.tuples(st.floats(10.0, 1e6), st.booleans()), min_size=2, max_size=12).map(
    lambda rows: lives_with_run_outs([life for life, _ in rows], [each for _, each in rows])
)
distributions = st.sampled_from(["WEIBULL", "LOGNORMAL", "EXPONENTIAL"])


@settings(max_examples=20, deadline=None)
@given(lots, distributions, st.floats(0.01, 1e5))
def test_limits_scale_with_the_cycles(records: LifeRecords, distribution: Any, k: float) -> None:
    fit = life_fit(records, distribution)
    assume(isinstance(fit, LifeFit) and 1e-3 < fit.spread < 30.0)
    assert isinstance(fit, LifeFit)
    stretched = life_records(
        records.low_cycles * k, records.high_cycles * k, counts=records.counts.astype(int)
    )
    at = math.exp(fit.location)
    here = limits_of(records, distribution, 0.9, [at], [0.1])
    there = limits_of(stretched, distribution, 0.9, [k * at], [0.1])
    moved = here.location.lower + math.log(k)  # type: ignore[operator]
    assert there.location.lower == pytest.approx(moved, abs=1e-7 * (1.0 + fit.spread))
    assert there.reliability[0].lower == pytest.approx(here.reliability[0].lower, abs=1e-9)
    if distribution != "EXPONENTIAL":
        assert there.shape.upper == pytest.approx(here.shape.upper, rel=1e-7)
        assert there.shape.lower == pytest.approx(here.shape.lower, rel=1e-7)


@settings(max_examples=20, deadline=None)
@given(lots, distributions, st.floats(0.55, 0.97))
def test_limits_hold_the_estimate_and_widen_with_the_confidence(
    records: LifeRecords, distribution: Any, confidence: float
) -> None:
    fit = life_fit(records, distribution)
    assume(isinstance(fit, LifeFit) and 1e-3 < fit.spread < 10.0)
    assert isinstance(fit, LifeFit)
    at = [math.exp(fit.location - fit.spread), math.exp(fit.location)]
    narrow = limits_of(records, distribution, confidence, at, [0.1, 0.5])
    wide = limits_of(records, distribution, confidence + 0.02, at, [0.1, 0.5])
    for inner, outer in zip(numbers(narrow), numbers(wide), strict=True):
        assert outer[0] < inner[0] < inner[1] < inner[2] < outer[2]


def numbers(limits: FitLimits) -> list[tuple[float, float, float]]:
    """Lower limit, estimate and upper limit of everything that has them."""
    rows: list[tuple[Any, Any, Any]] = [
        (each.lower, each.estimate, each.upper)
        for each in (limits.location, limits.scale_cycles, limits.shape, *limits.reliability)
    ]
    rows += [
        (each.lower_cycles, each.estimate_cycles, each.upper_cycles) for each in limits.b_lives
    ]
    return [row for row in rows if all(isinstance(each, float) for each in row)]
