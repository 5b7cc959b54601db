"""Leak onset of a unit: whether and where its pressure decay began to grow."""

from typing import Literal

from msgspec import Struct

OnsetState = Literal["NO_BASELINE", "NO_ONSET", "ONSET"]
NoBaselineReason = Literal["TOO_FEW_BLOCKS", "NOT_STEADY"]
JudgedAgainst = Literal["OWN", "CARRIED"]


class OnsetBaseline(Struct, frozen=True, kw_only=True):
    """
    Pressure decay of a sound unit on one station, at `fluid_temperature_c`.

    `decay_per_degree_mpa` is 0 where the blocks do not show an effect of temperature.
    It rests on the unit's blocks from `first_counted` to `last_counted`.
    """

    pressure_decay_mpa: float
    fluid_temperature_c: float
    decay_per_degree_mpa: float
    first_counted: int
    last_counted: int


class OnsetEvidence(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    The blocks that the answer rests on, by their ends in counted cycles.

    Onset is established with the second block in a row over the dead band, which ends with
    the cycle `established_last_counted`; the alarm confirms it. The last clean block is
    absent where the station's blocks begin over the dead band.
    `judged_against` is CARRIED where the station had no baseline of its own yet and the
    one before the move was used, with a dead band that is wider by the station step.
    """

    established_last_counted: int
    alarm_first_counted: int
    alarm_last_counted: int
    alarm_decay_mpa: float
    alarm_sum_mpa: float
    dead_band_mpa: float
    pulled_back_cycles: int
    judged_against: JudgedAgainst
    clean_first_counted: int | None = None
    clean_last_counted: int | None = None


class OnsetFinding(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    What a unit's blocks say about leak onset.

    NO_BASELINE: no baseline was complete (`reason` TOO_FEW_BLOCKS), or decay already
    changed while it was taken (NOT_STEADY): nothing is known of onset, not even that
    there was none. NO_ONSET: none up to `judged_to`. ONSET: after `low_cycles`, by
    `high_cycles`; decay then grows by `slope_mpa_per_1000`. All in counted cycles.
    Where rows lack inside the bracket `high_cycles` counts them: each may have counted.
    """

    state: OnsetState
    blocks_read: int
    blocks_left_out: int
    judged_to: int = 0
    reason: NoBaselineReason | None = None
    place: str | None = None
    baseline: OnsetBaseline | None = None
    low_cycles: int | None = None
    high_cycles: int | None = None
    slope_mpa_per_1000: float | None = None
    evidence: OnsetEvidence | None = None
