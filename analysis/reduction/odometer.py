"""The station's own odometer beside the counters of the rows: they must agree."""

from collections.abc import Sequence

from schemas.stretches import StretchSummary


def odometer_cycles(stretches: Sequence[StretchSummary]) -> int | None:
    """
    Cycles that the stations' odometers counted over a unit's stretches.

    Parameters
    ----------
    stretches : sequence of StretchSummary
        The unit's stretches.

    Returns
    -------
    int or None
        From the first to the last row of each stretch, both included, and the counters
        before its first row; None where a stretch has no odometer, or there is none.
    """
    moved = [_moved(stretch) for stretch in stretches]
    if not moved or any(each is None for each in moved):
        return None
    before = sum(stretch.unlogged_before_first for stretch in stretches)
    return sum(each + 1 for each in moved if each is not None) + before


def odometer_disagrees(stretch: StretchSummary) -> bool:
    """Whether odometer and counter moved differently from a stretch's first row to its last."""
    moved = _moved(stretch)
    return moved is not None and moved != stretch.last_cycle_in_run - stretch.first_cycle_in_run


def _moved(stretch: StretchSummary) -> int | None:
    if stretch.odometer_first is None or stretch.odometer_last is None:
        return None
    return stretch.odometer_last - stretch.odometer_first
