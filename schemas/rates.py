"""What is said of parts whose failure rate is constant."""

from msgspec import Struct

from schemas.estimates import NotEstimable


class MeanBounds(Struct, frozen=True, kw_only=True):
    """Mean cycles between failures; each bound alone holds with the one-sided `confidence`."""

    mean_cycles: float | NotEstimable
    mean_lower_cycles: float
    mean_upper_cycles: float | NotEstimable
    total_cycles: float
    failure_count: int
    confidence: float
    ended_at_failure: bool


class RateTestLength(Struct, frozen=True, kw_only=True):
    """Total of cycles that shows a mean; `ratio` is the total over that mean."""

    total_cycles: float
    ratio: float
    mean_cycles: float
    confidence: float
    allowed_failures: int
