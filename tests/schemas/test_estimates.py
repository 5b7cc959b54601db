import msgspec
import pytest

from schemas.estimates import NotEstimable, WeibayesBound, WeibullFit

FIT = WeibullFit(
    scale_cycles=100.0,
    shape=2.0,
    log_likelihood=-10.0,
    unit_count=3,
    failure_count=2,
    iteration_count=5,
)


@pytest.mark.parametrize("estimate", [FIT, NotEstimable(reason="NO_FAILURES")])
def test_a_fit_and_its_absence_are_told_apart_in_json(estimate: object) -> None:
    text = msgspec.json.encode(estimate)
    assert msgspec.json.decode(text, type=WeibullFit | NotEstimable) == estimate


def test_a_bound_without_a_point_estimate_survives_json() -> None:
    bound = WeibayesBound(
        scale_point_cycles=NotEstimable(reason="NO_FAILURES"),
        scale_lower_cycles=65.0,
        degrees_of_freedom=2,
        shape=2.0,
        confidence=0.9,
        unit_count=3,
        failure_count=0,
        terminated_at_failure=False,
    )
    assert msgspec.json.decode(msgspec.json.encode(bound), type=WeibayesBound) == bound


def test_reliability_and_b_life_by_hand() -> None:
    """exp(-(50/100)**2) = exp(-0.25); B-life of half the units 100 * sqrt(ln 2)."""
    assert FIT.reliability(50) == pytest.approx(0.7788007830714049, rel=1e-15)
    assert FIT.b_life_cycles(0.5) == pytest.approx(83.25546111576977, rel=1e-15)


def test_an_estimate_cannot_be_changed() -> None:
    with pytest.raises(AttributeError):
        FIT.shape = 3.0  # type: ignore[misc]
