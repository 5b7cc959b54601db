"""The shape integrated out, against double integrals, the fixed-shape limit and refusals."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from analysis.errors import DidNotConvergeError, OutsideDomainError
from analysis.statistics.life_records import life_records, lives_with_run_outs
from analysis.statistics.shape_prior import (
    lognormal_shape_prior,
    reliability_with_shape_prior,
    uniform_shape_prior,
)
from analysis.statistics.weibayes import reliability_lower_from_target_lives, target_lives
from schemas.estimates import NotEstimable
from schemas.priors import ShapePrior, ShapePriorLimit

TARGET = 100_000.0
LOTS = {
    "no failure": ([170_000.0] * 7, [False] * 7),
    "short of the target": ([60_000.0] * 30 + [40_000.0], [False] * 30 + [False]),
    "two failures": ([80_000.0, 150_000.0] + [200_000.0] * 10, [True, True] + [False] * 10),
    "all failed": ([120_000.0, 210_000.0, 260_000.0], [True] * 3),
}
PRIORS = {
    "uniform": uniform_shape_prior(1.5, 3.0),
    "narrow": uniform_shape_prior(1.99, 2.01),
    "wide": uniform_shape_prior(0.5, 8.0),
    "lognormal": lognormal_shape_prior(1.5, 3.0, probability_within=0.9),
}


def limit(
    lives: list[float],
    failed: list[bool],
    prior: ShapePrior,
    *,
    probability: float = 0.9,
    target: float = TARGET,
) -> ShapePriorLimit:
    answer = reliability_with_shape_prior(
        lives_with_run_outs(lives, failed),
        target,
        shape_prior=prior,
        reliability=0.9,
        probability=probability,
    )
    assert isinstance(answer, ShapePriorLimit)
    return answer


def mass(lives: list[float], failed: list[bool], prior: ShapePrior, most_rate: float) -> float:
    """Double integral of likelihood times prior, rates up to `most_rate`; written plainly."""
    ratios = np.array(lives) / TARGET
    hit = np.array(failed)
    middle = 0.5 * math.log(prior.shape_low * prior.shape_high)
    quantile = stats.norm.ppf(0.5 + prior.probability_within / 2)
    spread = (math.log(prior.shape_high) - middle) / quantile

    def density(rate: float, shape: float) -> float:
        # Density of a failed life: shape * rate * x^(shape - 1) * survival.
        value = float(np.exp(-rate * (ratios**shape).sum()))
        value *= float(np.prod(shape * rate * ratios[hit] ** (shape - 1.0)))
        if prior.form == "LOGNORMAL":
            value *= math.exp(-0.5 * ((math.log(shape) - middle) / spread) ** 2) / shape
        return value

    def over_rates(shape: float) -> float:
        # Beyond 60 expected failures nothing is left that a double could hold.
        end = min(most_rate, 60.0 / (ratios**shape).sum())
        return float(integrate.quad(density, 0.0, end, args=(shape,), epsabs=0.0, epsrel=1e-9)[0])

    low, high = prior.shape_low, prior.shape_high
    if prior.form == "LOGNORMAL":
        low, high = 0.5, 12.0
    return float(integrate.quad(over_rates, low, high, epsabs=0.0, epsrel=1e-8)[0])


@pytest.mark.parametrize(
    ("lot", "prior"),
    [
        ("no failure", "uniform"),
        ("no failure", "lognormal"),
        ("short of the target", "uniform"),
        ("two failures", "uniform"),
        ("two failures", "narrow"),
        ("all failed", "wide"),
    ],
)
def test_the_limit_is_that_of_a_double_integral(lot: str, prior: str) -> None:
    lives, failed = LOTS[lot]
    answer = limit(lives, failed, PRIORS[prior])
    whole = mass(lives, failed, PRIORS[prior], 40.0)
    rate = -math.log(answer.reliability_credible_lower)
    assert mass(lives, failed, PRIORS[prior], rate) / whole == pytest.approx(0.9, abs=1e-6)
    claimed = mass(lives, failed, PRIORS[prior], -math.log(0.9)) / whole
    assert answer.probability_at_least == pytest.approx(claimed, abs=1e-6)


@settings(max_examples=50)
@given(
    lives=st.lists(st.floats(1_000.0, 400_000.0), min_size=1, max_size=20),
    data=st.data(),
    shape=st.floats(0.3, 8.0),
    probability=st.floats(0.05, 0.99),
)
def test_a_prior_on_one_point_gives_the_fixed_shape_limit(
    lives: list[float], data: st.DataObject, shape: float, probability: float
) -> None:
    failed = data.draw(st.lists(st.booleans(), min_size=len(lives), max_size=len(lives)))
    answer = limit(lives, failed, uniform_shape_prior(shape, shape), probability=probability)
    fixed = reliability_lower_from_target_lives(
        target_lives(lives, TARGET, shape=shape), sum(failed), confidence=probability
    )
    assert answer.reliability_credible_lower == pytest.approx(fixed, rel=1e-9, abs=1e-290)
    assert answer.probability_at_least == pytest.approx(
        answer.fixed_shapes[1].classical_confidence, rel=1e-9, abs=1e-290
    )
    assert answer.posterior_shape_mean == pytest.approx(shape)


@pytest.mark.parametrize("prior", ["uniform", "wide", "lognormal"])
@pytest.mark.parametrize("lot", ["no failure", "two failures", "all failed"])
def test_the_answers_at_fixed_shapes_are_weibayes(lot: str, prior: str) -> None:
    lives, failed = LOTS[lot]
    answer = limit(lives, failed, PRIORS[prior])
    low, centre, high = answer.fixed_shapes
    assert (low.shape, high.shape) == (PRIORS[prior].shape_low, PRIORS[prior].shape_high)
    assert low.shape < centre.shape < high.shape
    for fixed in answer.fixed_shapes:
        lives_run = target_lives(lives, TARGET, shape=fixed.shape)
        assert fixed.target_lives == pytest.approx(lives_run, rel=1e-12)
        assert fixed.classical_reliability_lower == pytest.approx(
            reliability_lower_from_target_lives(lives_run, sum(failed), confidence=0.9), rel=1e-12
        )
        assert fixed.classical_confidence == pytest.approx(
            stats.poisson.sf(sum(failed), lives_run * -math.log(0.9)), rel=1e-9
        )


@settings(max_examples=30)
@given(
    low=st.floats(0.5, 3.0),
    width=st.floats(0.01, 4.0),
    lives=st.lists(st.floats(1_000.0, 400_000.0), min_size=2, max_size=8),
    probability=st.floats(0.05, 0.99),
)
def test_the_limit_lies_between_the_best_and_the_worst_shape(
    low: float, width: float, lives: list[float], probability: float
) -> None:
    failed = [True] + [False] * (len(lives) - 1)
    prior = uniform_shape_prior(low, low + width)
    answer = limit(lives, failed, prior, probability=probability)
    limits = [
        reliability_lower_from_target_lives(
            target_lives(lives, TARGET, shape=float(shape)), 1, confidence=probability
        )
        for shape in np.linspace(low, low + width, 400)
    ]
    slack = 1e-3 * (max(limits) - min(limits)) + 1e-9
    assert min(limits) - slack <= answer.reliability_credible_lower <= max(limits) + slack
    assert low <= answer.posterior_shape_mean <= low + width


@settings(max_examples=25)
@given(scale=st.floats(1e-3, 1e5), name=st.sampled_from(sorted(PRIORS)))
def test_the_unit_of_the_cycles_does_not_matter(scale: float, name: str) -> None:
    lives, failed = LOTS["two failures"]
    one = limit(lives, failed, PRIORS[name])
    other = limit([scale * life for life in lives], failed, PRIORS[name], target=scale * TARGET)
    assert other.reliability_credible_lower == pytest.approx(
        one.reliability_credible_lower, rel=1e-8
    )


def test_a_higher_probability_asks_for_a_lower_limit() -> None:
    lives, failed = LOTS["two failures"]
    limits = [
        limit(lives, failed, PRIORS["uniform"], probability=each).reliability_credible_lower
        for each in (0.5, 0.8, 0.9, 0.99, 0.999)
    ]
    assert limits == sorted(limits, reverse=True)


def test_many_failures_overrule_a_lognormal_prior() -> None:
    rng = np.random.default_rng(5)
    lives = list(TARGET * 3.0 * rng.weibull(6.0, 2_000))
    answer = limit(lives, [True] * 2_000, PRIORS["lognormal"])
    assert answer.posterior_shape_mean == pytest.approx(6.0, rel=0.05)
    truth = math.exp(-((1.0 / 3.0) ** 6.0))
    assert answer.reliability_credible_lower == pytest.approx(truth, abs=2e-3)


def test_lives_that_no_shape_of_the_prior_explains_are_refused() -> None:
    lives = list(TARGET * np.random.default_rng(6).weibull(6.0, 8_000))
    with pytest.raises(DidNotConvergeError, match="both the prior and the lives"):
        limit(lives, [True] * 8_000, lognormal_shape_prior(0.29, 0.31, probability_within=0.99))


def test_what_cannot_be_integrated_is_said() -> None:
    def reason(low: list[float], high: list[float], prior: str = "uniform") -> str | None:
        answer = reliability_with_shape_prior(
            life_records(low, high),
            TARGET,
            shape_prior=PRIORS[prior],
            reliability=0.9,
            probability=0.9,
        )
        return answer.reason if isinstance(answer, NotEstimable) else None

    assert reason([0.0], [math.inf]) == "NOTHING_HAS_RUN"
    assert reason([10.0, 20.0], [20.0, math.inf]) == "BRACKETED_LIVES"
    # All lives short of the target: the likelihood grows like 0.6^-shape, faster than a
    # lognormal tail falls, but not if one failure lies far enough below the longest life.
    short = 0.6 * TARGET
    assert reason([short] * 3, [math.inf] * 3, "lognormal") == "SHAPE_WITHOUT_END"
    assert reason([short, 0.5 * short], [math.inf, 0.5 * short], "lognormal") is None
    assert reason([short, 0.7 * short], [math.inf, 0.7 * short], "lognormal") == (
        "SHAPE_WITHOUT_END"
    )
    assert reason([TARGET] * 3, [math.inf] * 3, "lognormal") is None


def test_priors_outside_their_range_are_refused() -> None:
    with pytest.raises(OutsideDomainError, match="shape_high"):
        uniform_shape_prior(3.0, 2.0)
    with pytest.raises(OutsideDomainError, match="shape_high"):
        lognormal_shape_prior(2.0, 2.0, probability_within=0.9)
    with pytest.raises(OutsideDomainError, match="probability_within"):
        lognormal_shape_prior(1.0, 9.0, probability_within=0.01)
    with pytest.raises(OutsideDomainError, match="shape_low"):
        uniform_shape_prior(0.0, 2.0)
