"""Plans with both risks stated: fixed ones, Wald's lines, and truncated sequential ones."""

from msgspec import Struct


class PlanRisks(Struct, frozen=True, kw_only=True):
    """
    Chances of the two wrong answers.

    `producer_risk`: a lot at the good level is refused. `consumer_risk`: a lot at the
    bad level is accepted.
    """

    producer_risk: float
    consumer_risk: float


class CountedPlan(Struct, frozen=True, kw_only=True):
    """Fixed number of units run to the target once; accepted with few enough failures."""

    unit_count: int
    allowed_failures: int
    good_reliability: float
    bad_reliability: float
    producer_risk: float
    consumer_risk: float


class TimedPlan(Struct, frozen=True, kw_only=True):
    """
    Test that ends at a total fixed beforehand, of cycles or of target lives.

    Any total from `least_total` (keeps the consumer's risk) to `most_total` (keeps the
    producer's) keeps both risks asked for.
    """

    allowed_failures: int
    least_total: float
    most_total: float
    good_mean: float
    bad_mean: float


class FailureEndedPlan(Struct, frozen=True, kw_only=True):
    """Test that ends at its r-th failure; accepted if total / r reaches `least_mean`."""

    failure_count: int
    least_mean_ratio: float
    least_mean: float
    good_mean: float
    bad_mean: float


class SequentialLines(Struct, frozen=True, kw_only=True):
    """
    Wald's two parallel lines for failures against units run: accept on or below
    ``slope * n - accept_intercept``, refuse on or above ``slope * n + reject_intercept``.

    The chances and mean lengths are Wald's approximations, which ignore overshoot and
    know no truncation; a plan is judged by its exact risks instead.
    """

    slope: float
    accept_intercept: float
    reject_intercept: float
    least_units_to_accept: int
    chance_at_slope_approx: float
    mean_units_good_approx: float
    mean_units_bad_approx: float
    mean_units_slope_approx: float
    good_reliability: float
    bad_reliability: float
    producer_risk: float
    consumer_risk: float


class SequentialTimeLines(Struct, frozen=True, kw_only=True):
    """
    The same for a total on test against failures: accept when the total reaches
    ``accept_intercept + slope * r``, refuse when it is at most ``slope * r - reject_intercept``.

    With a Weibull shape the total is the sum of cycles to the power of the shape.
    """

    slope: float
    accept_intercept: float
    reject_intercept: float
    total_to_accept_without_failure: float
    least_failures_to_reject: int
    chance_at_slope_approx: float
    mean_failures_good_approx: float
    mean_failures_bad_approx: float
    mean_total_good_approx: float
    mean_total_bad_approx: float
    good_mean: float
    bad_mean: float
    shape: float
    producer_risk: float
    consumer_risk: float


class CountedStops(Struct, frozen=True, kw_only=True):
    """
    Truncated sequential plan by counting: after n units, accept at `accept_at[n - 1]` or
    fewer failures (-1: not yet), refuse at `reject_at[n - 1]` or more. The last unit
    leaves no count between the two.
    """

    accept_at: tuple[int, ...]
    reject_at: tuple[int, ...]


class TimedStops(Struct, frozen=True, kw_only=True):
    """
    Truncated sequential plan on a total: with r failures accept when the total reaches
    `accept_totals[r]`; refuse when failure r comes at `reject_totals[r]` or before
    (absent: it does not refuse).
    """

    accept_totals: tuple[float, ...]
    reject_totals: dict[int, float]


class ExactOutcome(Struct, frozen=True, kw_only=True):
    """Exact chances of a truncated plan's ends and its mean length, at one true level."""

    true_level: float
    chance_of_acceptance: float
    chance_of_refusal: float
    mean_length: float
