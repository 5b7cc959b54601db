"""The limits of a specification as the bound parameters of stage one."""

import math
from collections.abc import Iterable

from analysis.reduction.edge_rule import edge_parameters
from schemas.lots import RigSettings
from schemas.specs import Spec

EDGE_SLACK = 1e-7
"""Limits include both ends. A value may miss an edge by this share of the upper pressure limit
(or of the limit itself, for seconds and degrees) through a change of unit or a 32-bit float."""

NO_READING_SHARE = 1.5
"""A pressure above this multiple of the sensor's full scale is no reading."""

BLOCK_CYCLES = 100
"""Cycles of a block of which the median is taken, where the specification states no other."""

MOST_MODES = 4
_NO_MODE = -1

STAGE_ONE_TEXTS = (
    "stored_rows",
    "stored_edges",
    "uploaded_rows",
    "lapped_rows",
    "judged",
    "true_rows",
    "found_out",
    "as_stored",
    "kindest",
    "harshest",
    "repeats",
    "place",
    "laps",
    "conflicting_laps",
    "totals",
    "edge_rows",
    "ends",
    "streaks_consecutive",
    "streaks_moving_average",
    "streaks_moving_average_near",
    "streaks_moving_average_edges",
    "streaks_consecutive_thinned",
    "streaks_moving_average_thinned",
    "over_before",
    "inferred_at",
    "counted_at",
    "peaks",
    "spacings",
    "baselines",
    "block_chunks",
    "blocks",
    "station_hours",
    "findings",
)


def full_scale_mpa(settings: RigSettings | None, station_no: int) -> float | None:
    """
    Full scale of the transducer of a station, where the rig's settings state one.

    Parameters
    ----------
    settings : RigSettings or None
        What the rig holds; None when nobody described the rig.
    station_no : int
        Station of the rig.

    Returns
    -------
    float or None
        Smallest full scale, in MPa, of the sensors that can be this station's.

    Examples
    --------
    >>> full_scale_mpa(None, 1) is None
    True
    """
    if settings is None:
        return None
    fitting = [s.full_scale_mpa for s in settings.sensors if s.station_no == station_no]
    anywhere = [s.full_scale_mpa for s in settings.sensors if s.station_no is None]
    return min(fitting or anywhere, default=None)


def stage_one_parameters(
    spec: Spec, full_scale: float | None, uncertainty_mpa: float | None = None
) -> dict[str, float | int | bool | None]:
    """
    Bound parameters of the stage-one texts for one specification.

    Parameters
    ----------
    spec : Spec
        Whose conditions and failure limits judge each cycle.
    full_scale : float or None
        Full scale of the sensor, MPa; None when it is not known.
    uncertainty_mpa : float, optional
        Expanded uncertainty of the sensor, MPa; None when it is not on record.

    Returns
    -------
    dict
        Parameter name to value; None is a limit that is not stated, and no
        cycle can miss it.

    Notes
    -----
    Limits include both ends, so each is widened by `EDGE_SLACK`.
    """
    conditions, failure = spec.conditions, spec.failure
    slack_mpa = EDGE_SLACK * conditions.pressure_upper_mpa
    judges_decay = failure.decay_limit_mpa is not None
    return {
        "no_reading_above_mpa": _times(NO_READING_SHARE, full_scale),
        "highest_reading_mpa": math.inf if full_scale is None else NO_READING_SHARE * full_scale,
        "full_scale_mpa": _plus(full_scale, -slack_mpa),
        "upper_mpa": conditions.pressure_upper_mpa + slack_mpa,
        "lower_mpa": conditions.pressure_lower_mpa - slack_mpa,
        "low_max_mpa": _plus(conditions.pressure_low_max_mpa, slack_mpa),
        "rise_min_s": _widened(conditions.rise_time_min_s, -1),
        "rise_max_s": _widened(conditions.rise_time_max_s, 1),
        "dwell_min_s": _widened(conditions.dwell_time_min_s, -1),
        "temperature_min_c": _widened(conditions.fluid_temperature_min_c, -1),
        "temperature_max_c": _widened(conditions.fluid_temperature_max_c, 1),
        # A difference of two pressures carries the error of both.
        "decay_limit_mpa": _plus(failure.decay_limit_mpa, 2 * slack_mpa),
        "burst_below_mpa": _plus(failure.burst_below_mpa, -slack_mpa),
        "needs_low": conditions.pressure_low_max_mpa is not None,
        "needs_rise": _stated(conditions.rise_time_min_s, conditions.rise_time_max_s),
        "needs_dwell": conditions.dwell_time_min_s is not None,
        "needs_temperature": _stated(
            conditions.fluid_temperature_min_c, conditions.fluid_temperature_max_c
        ),
        "needs_decay": judges_decay and _decay_is_relevant(spec),
        "persistent_cycles": failure.persistence.cycles if failure.persistence else None,
        "test_mode_counts": "TEST" in conditions.station_modes,
        "watches_stations": spec.reduction.station_drift_mpa is not None,
        **edge_parameters(spec, uncertainty_mpa, slack_mpa=slack_mpa),
        **_baseline_parameters(spec),
    }


def _baseline_parameters(spec: Spec) -> dict[str, int | None]:
    """Length of a block and the cycles after a start that none may hold; None: no block."""
    if spec.reduction.swap_step is None:
        return {"block_cycles": None, "settling_cycles": None}
    onset = spec.reduction.onset
    if onset is None:
        settling = spec.reduction.warm_up_cycles or 0
        return {"block_cycles": BLOCK_CYCLES, "settling_cycles": settling}
    return {
        "block_cycles": onset.block_cycles,
        "settling_cycles": onset.mask_after_start_cycles,
    }


def mode_parameters(mode_keys: Iterable[int]) -> dict[str, int]:
    """
    Parameters that name the station modes in which cycles count.

    Parameters
    ----------
    mode_keys : iterable of int
        Keys of the modes' texts in the store, at most `MOST_MODES`.

    Returns
    -------
    dict
        ``mode_1`` to ``mode_4``; unused ones hold a key that no text has.

    Examples
    --------
    >>> mode_parameters([7])["mode_1"], mode_parameters([7])["mode_2"]
    (7, -1)
    """
    keys = [*mode_keys][:MOST_MODES]
    keys += [_NO_MODE] * (MOST_MODES - len(keys))
    return {f"mode_{number}": key for number, key in enumerate(keys, start=1)}


def streak_text_name(spec: Spec) -> str | None:
    """Name of the text that finds sustained decay under `spec`, or None if it judges none."""
    persistence = spec.failure.persistence
    if spec.failure.decay_limit_mpa is None or persistence is None:
        return None
    return f"streaks_{persistence.rule.lower()}"


def _decay_is_relevant(spec: Spec) -> bool:
    return any(mode.seen_as == "DECAY" and mode.relevant for mode in spec.failure.modes)


def _stated(*limits: float | None) -> bool:
    return any(limit is not None for limit in limits)


def _plus(limit: float | None, slack: float) -> float | None:
    return None if limit is None else limit + slack


def _times(factor: float, limit: float | None) -> float | None:
    return None if limit is None else factor * limit


def _widened(limit: float | None, sign: int) -> float | None:
    return None if limit is None else limit + sign * EDGE_SLACK * max(abs(limit), 1.0)
