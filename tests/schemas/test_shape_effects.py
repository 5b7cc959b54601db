"""Which shapes an answer of none, one or two intervals holds."""

from schemas.shape_effects import PassingShapes, ShapeInterval


def answer(*intervals: ShapeInterval) -> PassingShapes:
    return PassingShapes(
        intervals=intervals,
        reason=None if intervals else "TOO_FEW_TARGET_LIVES",
        target_lives_required=44.89,
        reliability=0.95,
        confidence=0.9,
        allowed_failures=0,
        failure_count=0,
        target_cycles=100_000.0,
    )


SMALL = ShapeInterval(low=0.0, high=0.4)
LARGE = ShapeInterval(low=2.9, high=None)


def test_the_ends_of_an_interval_belong_to_it() -> None:
    shapes = answer(SMALL, LARGE)
    assert [shapes.passes(shape) for shape in (0.1, 0.4, 0.5, 2.8, 2.9, 50.0)] == [
        *(True, True, False),
        *(False, True, True),
    ]


def test_a_range_over_the_gap_does_not_pass_throughout() -> None:
    shapes = answer(SMALL, LARGE)
    assert shapes.passes_throughout(0.2, 0.4)
    assert shapes.passes_throughout(3.0, 4.0)
    assert not shapes.passes_throughout(0.2, 3.0)
    assert not shapes.passes_throughout(2.0, 2.9)


def test_no_interval_holds_no_shape() -> None:
    assert not answer().passes(2.0)
    assert not answer().passes_throughout(2.0, 2.0)
