"""The station's odometer beside the counters, from hand-made stretches."""

from reduction_builders import stretch

from analysis.reduction.odometer import odometer_cycles, odometer_disagrees

AGREES = stretch(100, odometer_first=1001, odometer_last=1100)
DIFFERS = stretch(100, key=2, odometer_first=1101, odometer_last=1240)


def test_cycles_by_the_odometer_are_those_of_all_stretches() -> None:
    assert odometer_cycles([AGREES]) == 100
    assert odometer_cycles([AGREES, DIFFERS]) == 240
    late = stretch(98, odometer_first=3, odometer_last=100, unlogged_before_first=2)
    assert odometer_cycles([late]) == 100


def test_without_an_odometer_in_every_stretch_there_is_no_sum() -> None:
    assert odometer_cycles([]) is None
    assert odometer_cycles([AGREES, stretch(10, key=2)]) is None


def test_an_odometer_disagrees_where_it_moved_otherwise_than_the_counter() -> None:
    assert [odometer_disagrees(each) for each in (AGREES, DIFFERS, stretch(10))] == [
        False,
        True,
        False,
    ]
