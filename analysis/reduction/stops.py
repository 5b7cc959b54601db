"""What a stop means: the rig's code is a claim, mapped per rig, never a proof."""

from collections.abc import Mapping

from schemas.lots import STOP_CLASSES, RigSettings
from schemas.stretches import StretchSummary

COUNTER_ENDS = (65_535, 4_294_967_295)
"""Last values of a 16-bit and a 32-bit counter; 0 or 1 after them is a wrap, not a reset."""


def stop_class(raw_code: str | None, settings: RigSettings | None) -> str:
    """
    Class of a stop, from the rig's own code.

    Parameters
    ----------
    raw_code : str or None
        Code on the run's last row; None when there is none.
    settings : RigSettings or None
        The rig's map; None when nobody described the rig.

    Returns
    -------
    str
        One of the stop classes, or UNKNOWN for a code that nobody mapped. A
        missing code is UNKNOWN too: whether the run is still going is decided
        elsewhere. The names of the classes are valid codes.

    Examples
    --------
    >>> stop_class("RIG_STOP", None), stop_class("E17", None)
    ('RIG_STOP', 'UNKNOWN')
    """
    if raw_code is None:
        return "UNKNOWN"
    mapped = settings.stop_codes.get(raw_code) if settings else None
    if mapped is not None:
        return mapped
    return raw_code if raw_code in STOP_CLASSES else "UNKNOWN"


def class_of_stretch(stretch: StretchSummary, rigs: Mapping[str, RigSettings]) -> str:
    """Stop class of a stretch; a lap that ended in a counter reset or a wrap did not stop."""
    if not stretch.is_last_lap:
        return "COUNTER_WRAP" if stretch.last_cycle_in_run in COUNTER_ENDS else "COUNTER_RESET"
    return stop_class(stretch.stop_reason, rigs.get(stretch.rig_id))


def supply_of(settings: RigSettings | None, rig_id: str, station_no: int) -> tuple[str, str]:
    """Supply that feeds a station: the rig's own unless its settings say otherwise."""
    for supply in settings.supplies if settings else []:
        if supply.station_no == station_no:
            return ("supply", supply.supply_id)
    return ("rig", rig_id)
