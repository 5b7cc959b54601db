"""A mean of three over stops, from hand-made edges of stretches."""

from reduction_builders import streak, stretch

from analysis.reduction.decay_means import first_mean_over_limit
from schemas.stretches import EdgeCycle, StretchSummary

LIMIT = 0.6


def told(counted: int, *edges: tuple[int, float | None], **changes: object) -> StretchSummary:
    """A stretch with the decay of some counted cycles, by their number; every cycle counts."""
    cycles = [EdgeCycle(place=streak(1, n), pressure_decay_mpa=decay) for n, decay in edges]
    return stretch(counted, edge_cycles_judged=cycles, **changes)


def found(*stretches: StretchSummary) -> tuple[int, str] | None:
    point = first_mean_over_limit(stretches, LIMIT)
    return None if point is None else (point.counted_cycles, point.run_id)


def sound(counted: int, *, key: int = 2, **changes: object) -> StretchSummary:
    edges = [(n, 0.06) for n in (1, 2, counted - 1, counted)]
    return told(counted, *edges, key=key, hour=key, **changes)


ENDS_HIGH = told(50, (1, 0.06), (2, 0.06), (49, 0.9), (50, 0.9))


def test_two_cycles_before_a_stop_and_one_after_it_are_a_mean() -> None:
    # (0.9 + 0.9 + 0.06) / 3 = 0.62 is over 0.6: the first of the three is the life.
    assert found(ENDS_HIGH, sound(30)) == (49, "run-01")


def test_one_cycle_before_and_two_after_it_are_a_mean() -> None:
    # (0 + 0.9 + 0.9) / 3 = 0.6 is not over 0.6, (0.9 + 0.9 + 0.06) / 3 = 0.62 is.
    before = told(50, (1, 0.06), (2, 0.06), (49, 0.0), (50, 0.9))
    after = told(30, (1, 0.9), (2, 0.06), (29, 0.06), (30, 0.06), key=2, hour=2)
    assert found(before, after) == (50, "run-01")


def test_runs_of_one_counted_cycle_add_up() -> None:
    single = [told(1, (1, 0.9), key=key, hour=key) for key in (2, 3)]
    before = told(50, (1, 0.06), (2, 0.06), (49, 0.06), (50, 0.3))
    assert found(before, *single) == (50, "run-01")


def test_a_run_without_counted_cycles_does_not_break_it() -> None:
    warm_up = stretch(0, key=2, hour=2, not_counted={"MODE": 30})
    gapped = stretch(0, key=2, hour=2, not_counted={"MODE": 30}, missing=2)
    assert found(ENDS_HIGH, warm_up, sound(30, key=3)) == (49, "run-01")
    assert found(ENDS_HIGH, gapped, sound(30, key=3)) is None


def test_a_move_or_a_missing_first_counter_breaks_it() -> None:
    assert found(ENDS_HIGH, sound(30, station=2)) is None
    assert found(ENDS_HIGH, sound(30, unlogged_before_first=1)) is None


def test_a_gap_after_the_last_counted_cycle_breaks_it() -> None:
    before = told(
        50, (1, 0.06), (2, 0.06), (49, 0.9), (50, 0.9), not_counted={"MODE": 1}, missing=4
    )
    assert found(before, sound(30)) is None


def test_a_cycle_without_a_decay_breaks_it() -> None:
    after = told(30, (1, None), (2, 0.9), (29, 0.06), (30, 0.06), key=2, hour=2)
    assert found(ENDS_HIGH, after) is None


def test_a_mean_over_a_stop_goes_before_one_inside_the_run() -> None:
    later = sound(30, persistent=streak(3, 10))
    assert found(ENDS_HIGH, later) == (49, "run-01")
    assert found(sound(50, key=1), later) == (60, "run-02")
