"""
What is concluded with a prior, always beside what the test shows without one.

Words: a *credible* limit holds with a `probability` that includes the prior; a limit of the
test alone holds with a `confidence`. No field mixes the two: what rests on a prior says
`credible` or `probability`, what does not says `classical`.
"""

from typing import Literal

from msgspec import Struct

ShapePriorForm = Literal["UNIFORM", "LOGNORMAL"]


class BetaPrior(Struct, frozen=True, kw_only=True):
    """
    Beta distribution of a reliability: prior, or what a test has made of one.

    `success_weight` (a) and `failure_weight` (b) are its two parameters; 1 and 1 is uniform.
    `equivalent_unit_count` = a + b - 2: units whose test would have turned the uniform prior
    into this one (-1 for weights of one half each).
    """

    success_weight: float
    failure_weight: float
    equivalent_unit_count: float


class SuccessRunPosterior(Struct, frozen=True, kw_only=True):
    """
    A finished test by counting, read with a prior and without.

    The reliability exceeds `reliability_credible_lower` with `probability`, and exceeds
    `reliability` with `probability_at_least`. Without the prior the same test shows
    `classical_reliability_lower` with a confidence equal to `probability`, and
    `reliability` with `classical_confidence`.
    """

    prior: BetaPrior
    posterior: BetaPrior
    posterior_mean: float
    reliability_credible_lower: float
    probability_at_least: float
    classical_reliability_lower: float
    classical_confidence: float
    unit_count: int
    failure_count: int
    reliability: float
    probability: float


class SuccessRunPlanWithPrior(Struct, frozen=True, kw_only=True):
    """
    Fewest units that make a reliability credible, beside the number without the prior.

    `unit_count_exact` is the number before rounding up; 0 or less says that the prior
    suffices. `prior_alone_suffices`: the prior gives the claim before any unit runs.
    `classical_confidence` is what `unit_count` units with the allowed failures show alone.
    """

    prior: BetaPrior
    unit_count: int
    unit_count_exact: float
    probability_reached: float
    prior_alone_suffices: bool
    classical_unit_count: int
    classical_confidence: float
    reliability: float
    probability: float
    allowed_failures: int


class PassingChance(Struct, frozen=True, kw_only=True):
    """
    Chance that a future test by counting is passed, given what is known of the lot.

    `classical_chance_at_mean` takes the reliability to be exactly the mean `reliability_mean`
    of the prior: the difference is what not knowing it costs.
    """

    prior: BetaPrior
    chance: float
    classical_chance_at_mean: float
    reliability_mean: float
    unit_count: int
    allowed_failures: int


class GammaPrior(Struct, frozen=True, kw_only=True):
    """
    Gamma distribution of a constant failure rate: prior, or what a test has made of one.

    It weighs as much as `equivalent_failures` (a, the shape) in `equivalent_cycles` (b, the
    rate); a test adds its failures to the one and its cycles to the other.
    """

    equivalent_failures: float
    equivalent_cycles: float


class RatePosterior(Struct, frozen=True, kw_only=True):
    """
    A finished test of a constant rate, read with a prior and without.

    The mean between failures exceeds `mean_credible_lower_cycles` with `probability`;
    `classical_mean_lower_cycles` is the bound without the prior, of a test that ended at a
    total, with a confidence equal to `probability` (0 if nothing ran).
    """

    prior: GammaPrior
    posterior: GammaPrior
    mean_median_cycles: float
    mean_credible_lower_cycles: float
    classical_mean_lower_cycles: float
    total_cycles: float
    failure_count: int
    probability: float


class RateTestWithPrior(Struct, frozen=True, kw_only=True):
    """
    Total that makes a mean between failures credible, beside the total without the prior.

    `total_cycles` is 0 if `prior_alone_suffices`: with as many failures as are allowed
    and no cycles at all the claim would hold.
    """

    prior: GammaPrior
    total_cycles: float
    prior_alone_suffices: bool
    classical_total_cycles: float
    mean_cycles: float
    probability: float
    allowed_failures: int


class ShapePrior(Struct, frozen=True, kw_only=True):
    """
    Belief about a Weibull shape.

    ``UNIFORM``: between `shape_low` and `shape_high` all shapes alike, none outside
    (`probability_within` 1). ``LOGNORMAL``: ln shape is normal, and `probability_within` lies
    between the two, as much below as above.
    """

    form: ShapePriorForm
    shape_low: float
    shape_high: float
    probability_within: float


class FixedShapeLimit(Struct, frozen=True, kw_only=True):
    """What the same lives show at one assumed shape, without a prior."""

    shape: float
    target_lives: float
    classical_reliability_lower: float
    classical_confidence: float


class ShapePriorLimit(Struct, frozen=True, kw_only=True):
    """
    Reliability at the target with the shape known up to a prior only.

    The reliability exceeds `reliability_credible_lower` with `probability`, and exceeds
    `reliability` with `probability_at_least`. `fixed_shapes` holds the answers for the shape
    at the low end of the prior, its centre and its high end.
    """

    shape_prior: ShapePrior
    reliability_credible_lower: float
    probability_at_least: float
    posterior_shape_mean: float
    fixed_shapes: tuple[FixedShapeLimit, FixedShapeLimit, FixedShapeLimit]
    unit_count: int
    failure_count: int
    target_cycles: float
    reliability: float
    probability: float
