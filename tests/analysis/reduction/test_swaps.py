"""Steps of a unit's baseline across a stop, by hand.

The rulings: a step larger than the specification's asks whether the unit was exchanged; at
best it is the same unit, at worst it failed at the step.
"""

import pytest
from reduction_builders import evidence, failing, hold_names, spec, stretch

from analysis.reduction.lives import reduce_unit
from analysis.reduction.swaps import possible_swaps
from schemas.stretches import Baseline, StretchSummary

STEPS = spec(reduction={"swap_step": {"decay_mpa": 0.1, "rise_time_s": 0.04}})


def settled(
    key: int,
    first: float | None,
    last: float | None = None,
    *,
    rise: float = 0.3,
    **changes: object,
) -> StretchSummary:
    """A stretch of 500 cycles with these medians of decay at its beginning and its end."""
    ends = [
        None if value is None else Baseline(pressure_decay_mpa=value, rise_time_s=rise)
        for value in (first, first if last is None else last)
    ]
    fields = {"baseline_first": ends[0], "baseline_last": ends[1]} | changes
    return stretch(500, key=key, hour=key, **fields)


def asked(*stretches: StretchSummary) -> list[tuple[str, int, float | None]]:
    return [
        (str(each.evidence.quantity), each.at_counted, round(each.evidence.measured, 3))
        for each in possible_swaps(stretches, STEPS)
    ]


def test_a_step_of_the_decay_in_either_direction_asks_at_the_stop() -> None:
    assert asked(settled(1, 0.06), settled(2, 0.17)) == [("pressure_decay_mpa", 500, 0.11)]
    assert asked(settled(1, 0.17), settled(2, 0.06)) == [("pressure_decay_mpa", 500, -0.11)]


def test_a_step_of_exactly_the_limit_is_not_larger() -> None:
    assert asked(settled(1, 0.06), settled(2, 0.16)) == []


def test_a_step_of_the_rise_time_asks_too() -> None:
    assert asked(settled(1, 0.06), settled(2, 0.06, rise=0.35)) == [("rise_time_s", 500, 0.05)]


def test_what_a_unit_does_between_two_stops_is_no_step() -> None:
    # A leak that grows inside a run ends it at 0.4 MPa, where the next run goes on.
    assert asked(settled(1, 0.06, 0.4), settled(2, 0.42)) == []


def test_another_station_has_another_baseline() -> None:
    assert asked(settled(1, 0.06), settled(2, 0.2, station=2)) == []
    back = (settled(1, 0.06), settled(2, 0.2, station=2), settled(3, 0.2))
    # On station 1 it was last known after 500 cycles; the exchange may have come right then.
    assert asked(*back) == [("pressure_decay_mpa", 500, 0.14)]


def test_a_stretch_too_short_for_a_baseline_carries_the_one_before_it() -> None:
    short = settled(2, None)
    assert asked(settled(1, 0.06), short, settled(3, 0.06)) == []
    assert asked(settled(1, 0.06), short, settled(3, 0.2)) == [("pressure_decay_mpa", 500, 0.14)]


def test_each_stop_is_judged_by_the_block_right_before_it() -> None:
    assert asked(settled(1, 0.06), settled(2, 0.2), settled(3, 0.2)) == [
        ("pressure_decay_mpa", 500, 0.14)
    ]


def test_without_a_step_in_the_specification_nothing_asks() -> None:
    assert possible_swaps([settled(1, 0.06), settled(2, 0.9)], spec()) == []
    only_rise = spec(reduction={"swap_step": {"rise_time_s": 0.04}})
    assert possible_swaps([settled(1, 0.06), settled(2, 0.9)], only_rise) == []


@pytest.mark.parametrize("quantity", ["pressure_decay_mpa", "rise_time_s"])
def test_a_quantity_that_was_not_measured_makes_no_step(quantity: str) -> None:
    values = {"pressure_decay_mpa": 0.9, "rise_time_s": 0.9} | {quantity: None}
    unknown = stretch(500, key=2, hour=2, baseline_first=Baseline(**values))
    other = {"pressure_decay_mpa": "rise_time_s", "rise_time_s": "pressure_decay_mpa"}[quantity]
    assert [name for name, *_ in asked(settled(1, 0.06), unknown)] == [other]


def test_a_possible_swap_is_the_same_unit_at_best_and_failed_at_the_step_at_worst() -> None:
    found = reduce_unit(evidence(settled(1, 0.06), settled(2, 0.2)), STEPS)
    (hold,) = found.holds
    assert (hold.name, hold.best.ending, hold.best.credited_cycles) == (
        "POSSIBLE_SWAP",
        "SUSPENDED",
        1000,
    )
    assert (hold.worst.ending, hold.worst.credited_cycles) == ("FAILED", 500)
    assert (found.worst.ending, found.worst.cycles) == ("FAILED", 500)
    (where,) = hold.evidence
    assert (where.run_id, where.limit) == ("run-02", 0.1)


def test_a_step_after_the_failure_asks_nothing() -> None:
    last = Baseline(pressure_decay_mpa=0.7, rise_time_s=0.3)
    failed = failing(904, 900, baseline_last=last)
    later = settled(2, 0.06)
    assert hold_names(reduce_unit(evidence(failed, later), STEPS).holds) == []
