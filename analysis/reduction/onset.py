"""Leak onset: where a unit's pressure decay began to grow, as a bracket in counted cycles."""

import math
from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from analysis.checks import FloatArray
from analysis.reduction.onset_baseline import baseline_of, excess_over
from analysis.reduction.onset_blocks import (
    Blocks,
    IntArray,
    OnsetRules,
    StretchBlocks,
    blocks_to_read,
    check_rules,
)
from analysis.reduction.onset_change import Change, first_change
from schemas.onsets import NoBaselineReason, OnsetBaseline, OnsetEvidence, OnsetFinding
from schemas.specs import OnsetSettings

STEPS_OF_DOUBT = 2.0
"""A baseline may be off by so many steps of the sensor: its zero moves, readings are rounded."""
ERRORS_OF_DOUBT = 2.0
"""Standard errors by which the fitted beginning of growth is taken earlier."""


def onset_rules(settings: OnsetSettings) -> OnsetRules:
    """
    Rules of the search from the settings of a specification.

    Parameters
    ----------
    settings : OnsetSettings
        Its `baseline_blocks` are the first block of the baseline and the one after its last.
        Without a station step no baseline is carried over a move; without a sensor step
        none is allowed for.

    Returns
    -------
    OnsetRules

    Raises
    ------
    OutsideDomainError
        If the baseline ends before it begins, or a rule is out of its range.
    """
    first, end = settings.baseline_blocks
    return check_rules(
        OnsetRules(
            block_cycles=settings.block_cycles,
            break_in_blocks=first,
            baseline_blocks=end - first,
            masked_cycles=settings.mask_after_start_cycles,
            dead_band_mpa=settings.dead_band_mpa,
            alarm_mpa=settings.alarm_mpa,
            station_step_mpa=settings.station_step_mpa,
            sensor_step_mpa=settings.sensor_step_mpa or 0.0,
        )
    )


def leak_onset(stretches: Sequence[StretchBlocks], rules: OnsetRules) -> OnsetFinding:
    """
    Where the pressure decay of a unit began to grow.

    Parameters
    ----------
    stretches : sequence of StretchBlocks
        The unit's stretches in the order in which they were run, up to the end of its
        life or beyond: the first onset decides.
    rules : OnsetRules
        Blocks, mask, baseline, dead band, alarm and steps.

    Returns
    -------
    OnsetFinding
        NO_BASELINE, NO_ONSET, or ONSET with its bracket in counted cycles.

    Raises
    ------
    OutsideDomainError
        If a rule is out of its range, the arrays of a stretch differ in length, or counted
        cycles do not increase from block to block.

    Notes
    -----
    1. A unit has a baseline on each station: median of the first blocks after its
       break-in there, less the effect of temperature where the blocks show one. Stops do not
       end it, and a unit that comes back finds it again.
    2. The excess over baseline and dead band is summed block by block (`alarm_sum`). The
       dead band is what an engineer calls sound, not a multiple of the noise: a slow swing
       of temperature is no noise.
    3. The alarm establishes onset. The high end of the bracket is the end of the second
       block in a row over the dead band. The low end lies before the last block within it
       by the cycles that growth took to cross the dead band, and two sensor steps in which
       the baseline may be off; and before the beginning of the fitted line by its doubt.
    4. Until a station has a baseline of its own the one before the move is used, with a
       dead band wider by the station step. Where there is none, or no station step is
       stated, nothing is judged; a change that comes before the first baseline is complete
       is NOT_STEADY, and ends the search.

    Examples
    --------
    Decay of 0.06 MPa that grows by 0.1 MPa per 1,000 cycles from cycle 3,980 on:

    >>> last = np.arange(100, 6_001, 100)
    >>> stretch = StretchBlocks(
    ...     place="RIG-A/1",
    ...     first_counted=last - 99,
    ...     last_counted=last,
    ...     cycles=np.full(60, 100),
    ...     cycles_since_start=last - 99,
    ...     decay_mpa=0.06 + 1e-4 * np.maximum(last - 50 - 3_980, 0),
    ... )
    >>> rules = OnsetRules(
    ...     block_cycles=100,
    ...     break_in_blocks=2,
    ...     baseline_blocks=20,
    ...     masked_cycles=300,
    ...     dead_band_mpa=0.015,
    ...     alarm_mpa=0.05,
    ...     station_step_mpa=0.01,
    ...     sensor_step_mpa=0.004,
    ... )
    >>> found = leak_onset([stretch], rules)
    >>> found.state, found.low_cycles, found.high_cycles, round(found.slope_mpa_per_1000, 3)
    ('ONSET', 3820, 4300, 0.1)
    """
    blocks = blocks_to_read(stretches, check_rules(rules))
    return _Search(blocks, rules).finding()


class _Judged(Struct, frozen=True, kw_only=True):
    """A change found among the blocks `chosen`, and what it was judged against."""

    change: Change
    chosen: IntArray
    baseline: OnsetBaseline
    carried: bool


class _Search:
    """One unit: its places one after another, each with its own baseline."""

    def __init__(self, blocks: Blocks, rules: OnsetRules) -> None:
        self.blocks = blocks
        self.rules = rules
        self.baselines: dict[int, OnsetBaseline] = {}
        self.waiting: dict[int, IntArray] = {}
        self.newest: OnsetBaseline | None = None
        self.unsteady: OnsetBaseline | None = None
        self.judged_to = 0

    def finding(self) -> OnsetFinding:
        """The answer: the first change on any of the places, in the order of the stays."""
        places = np.arange(self.rules.break_in_blocks, self.blocks.place.size)
        for visit in np.unique(self.blocks.visit[places]):
            judged = self._visit(places[self.blocks.visit[places] == visit])
            if self.unsteady is not None:
                return self._no_baseline("NOT_STEADY", self.unsteady)
            if judged is not None:
                return self._onset(judged)
        if self.newest is None:
            return self._no_baseline("TOO_FEW_BLOCKS", None)
        return OnsetFinding(
            state="NO_ONSET",
            blocks_read=self.blocks.place.size,
            blocks_left_out=self.blocks.left_out,
            judged_to=self.judged_to,
            place=self.blocks.place_names[int(self.blocks.place[-1])],
            baseline=self.newest,
        )

    def _visit(self, chosen: IntArray) -> _Judged | None:
        """The blocks of one stay at a place, without another place between them."""
        place = int(self.blocks.place[chosen[0]])
        if place in self.baselines:
            self.newest = self.baselines[place]
            return self._judge(chosen, self.newest, carried=False)
        waiting = np.concatenate([self.waiting.get(place, chosen[:0]), chosen])
        self.waiting[place] = waiting
        need = self.rules.baseline_blocks
        if self.newest is not None and self.rules.station_step_mpa is not None:
            provisional = waiting[:need]
            found = self._judge(provisional[provisional >= chosen[0]], self.newest, carried=True)
            if found is not None:
                return found
        if waiting.size < need:
            return None
        return self._complete(place, waiting, need)

    def _complete(self, place: int, waiting: IntArray, need: int) -> _Judged | None:
        """A baseline is complete: judge by it the blocks it was taken from, and those after."""
        own = baseline_of(self.blocks, waiting[:need], dead_band_mpa=self.rules.dead_band_mpa)
        is_first = self.newest is None
        excess = excess_over(own, self.blocks, waiting[:need])
        if self._fell(excess):
            self.unsteady = own
            return None
        found = self._judge(waiting, own, carried=False)
        if is_first and found is not None and found.change.alarm < need:
            self.unsteady = own
            return None
        self.baselines[place] = self.newest = own
        return found

    def _fell(self, excess: FloatArray) -> bool:
        """Whether decay fell over the baseline by more than the dead band: not broken in."""
        half = excess.size // 2
        if half == 0:
            return False
        fall = float(np.median(excess[:half]) - np.median(excess[half:]))
        return fall > self.rules.dead_band_mpa

    def _judge(self, chosen: IntArray, baseline: OnsetBaseline, *, carried: bool) -> _Judged | None:
        if not chosen.size:
            return None
        change = first_change(
            self.blocks.middle[chosen],
            excess_over(baseline, self.blocks, chosen),
            dead_band_mpa=self._dead_band(carried),
            alarm_mpa=self.rules.alarm_mpa,
            least_rise_mpa=STEPS_OF_DOUBT * self.rules.sensor_step_mpa,
        )
        self.judged_to = int(self.blocks.last_counted[chosen[-1]])
        if change is None:
            return None
        return _Judged(change=change, chosen=chosen, baseline=baseline, carried=carried)

    def _dead_band(self, carried: bool) -> float:
        return self.rules.dead_band_mpa + (self._station_step if carried else 0.0)

    @property
    def _station_step(self) -> float:
        return self.rules.station_step_mpa or 0.0

    def _no_baseline(
        self, reason: NoBaselineReason, baseline: OnsetBaseline | None
    ) -> OnsetFinding:
        return OnsetFinding(
            state="NO_BASELINE",
            blocks_read=self.blocks.place.size,
            blocks_left_out=self.blocks.left_out,
            reason=reason,
            baseline=baseline,
        )

    def _onset(self, judged: _Judged) -> OnsetFinding:
        blocks, change = self.blocks, judged.change
        alarm = int(judged.chosen[change.alarm])
        clean = int(judged.chosen[change.clean]) if change.clean >= 0 else None
        established = int(judged.chosen[change.established])
        # Without a clean block here, the last one of the place before is the last known one.
        last_clean = clean if clean is not None else max(int(judged.chosen[0]) - 1, 0)
        low = self._low_end(judged, last_clean)
        return OnsetFinding(
            state="ONSET",
            blocks_read=blocks.place.size,
            blocks_left_out=blocks.left_out,
            judged_to=self.judged_to,
            place=blocks.place_names[int(blocks.place[alarm])],
            baseline=judged.baseline,
            low_cycles=low,
            high_cycles=int(blocks.last_counted[established]),
            slope_mpa_per_1000=1_000 * change.growth.slope_mpa,
            evidence=OnsetEvidence(
                established_last_counted=int(blocks.last_counted[established]),
                clean_first_counted=None if clean is None else int(blocks.first_counted[clean]),
                clean_last_counted=None if clean is None else int(blocks.last_counted[clean]),
                alarm_first_counted=int(blocks.first_counted[alarm]),
                alarm_last_counted=int(blocks.last_counted[alarm]),
                alarm_decay_mpa=float(blocks.decay_mpa[alarm]),
                alarm_sum_mpa=change.alarm_sum_mpa,
                dead_band_mpa=self._dead_band(judged.carried),
                pulled_back_cycles=int(blocks.middle[last_clean]) - low,
                judged_against="CARRIED" if judged.carried else "OWN",
            ),
        )

    def _low_end(self, judged: _Judged, last_clean: int) -> int:
        """Last counted cycle before which growth cannot have begun."""
        blocks, growth = self.blocks, judged.change.growth
        floor = int(blocks.first_counted[min(self.rules.break_in_blocks, last_clean)]) - 1
        if growth.slope_mpa <= 0.0:
            return floor
        margin = STEPS_OF_DOUBT * self.rules.sensor_step_mpa
        if judged.carried:
            # The dead band was wider by one step; the baseline itself may be off by another.
            margin += 2 * self._station_step
        pulled_back = (self.rules.dead_band_mpa + margin) / growth.slope_mpa
        fitted = growth.zero_at - ERRORS_OF_DOUBT * growth.zero_error - margin / growth.slope_mpa
        return max(floor, math.floor(min(float(blocks.middle[last_clean]) - pulled_back, fitted)))
