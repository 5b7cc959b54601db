"""Published cases of a constant failure rate."""

from collections.abc import Callable
from typing import Any

from analysis.statistics.rate_tests import mean_bounds, rate_test_length
from schemas.estimates import NotEstimable

Values = dict[str, Any]


def exponential_mtbf_bounds(inputs: Values) -> Values:
    """The cases state a two-sided confidence; each end is one-sided at (1 + C) / 2."""
    bounds = mean_bounds(
        inputs["total_time"],
        inputs["failures"],
        confidence=(1.0 + inputs["confidence"]) / 2.0,
        ended_at_failure=inputs.get("termination") == "failure",
    )

    def number(value: float | NotEstimable) -> float | None:
        return None if isinstance(value, NotEstimable) else value

    return {
        "mtbf": number(bounds.mean_cycles),
        "mtbf_lower": bounds.mean_lower_cycles,
        "mtbf_upper": number(bounds.mean_upper_cycles),
    }


def exponential_test_length(inputs: Values) -> Values:
    length = rate_test_length(
        inputs["mtbf"], confidence=inputs["confidence"], allowed_failures=inputs["failures"]
    )
    return {"factor": length.ratio, "test_time": length.total_cycles}


METHODS: dict[str, Callable[[Values], Values]] = {
    "exponential.mtbf_bounds": exponential_mtbf_bounds,
    "exponential.test_length": exponential_test_length,
}
