"""One rig during one lot: when it stands still and when its clock is set.

The interruptions are timed by the rig's lead unit, the one that lasts longest,
and then hold for every station of the rig.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from msgspec import Struct

from schemas.lots import NewRigEvent
from service.demo.facts import LotFacts, Stop, UnitFacts
from service.demo.scenario import RAW_CODES, STOP_NOTE

SECOND_US = 1_000_000


def instant(microseconds: int) -> datetime:
    """
    An instant from microseconds since 1970, exactly.

    Examples
    --------
    >>> instant(1_000_000).isoformat()
    '1970-01-01T00:00:01+00:00'
    """
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=microseconds)


class Window(Struct, frozen=True, kw_only=True):
    """An interruption in time."""

    stop: Stop
    start_us: int
    end_us: int


class RigCalendar:
    """One rig during one lot: its interruptions and clock errors, as the lead unit times them."""

    def __init__(self, facts: LotFacts, rig_id: str, scale: float) -> None:
        self.facts = facts
        self.rig_id = rig_id
        self.scale = scale
        self.start_us = round(facts.starts_at.timestamp()) * SECOND_US
        self.windows: list[Window] = []
        self.jumps: list[tuple[int, int]] = []
        self.resets = {(reset.unit_no, reset.run_no) for reset in facts.counter_resets}

    def units_of(self, station_no: int) -> list[UnitFacts]:
        """Units of a station, one after another."""
        return [
            unit
            for unit in self.facts.units
            if unit.rig_id == self.rig_id and unit.station_no == station_no
        ]

    def stations_lead_first(self) -> list[int]:
        """Station numbers, the one with the longest-lived first unit at the head."""
        numbers = sorted({u.station_no for u in self.facts.units if u.rig_id == self.rig_id})
        lead = max(numbers, key=lambda number: self.units_of(number)[0].life_cycles)
        return [lead, *(number for number in numbers if number != lead)]

    def stops(self) -> list[Stop]:
        """Interruptions of this rig in the order of the lead unit's cycles."""
        mine = [stop for stop in self.facts.stops if stop.rig_id == self.rig_id]
        return sorted(mine, key=lambda stop: stop.at_cycles)

    def free_from(self, wanted_us: int) -> int:
        """First instant from `wanted_us` on at which the rig is not stopped."""
        for window in self.windows:
            if window.start_us <= wanted_us < window.end_us:
                wanted_us = window.end_us
        return wanted_us

    def next_window(self, after_us: int) -> Window | None:
        """The first interruption that begins after an instant."""
        return next((window for window in self.windows if window.start_us > after_us), None)

    def cooled_between(self, from_us: int, to_us: int) -> bool:
        """True where a cold interruption lies between two instants."""
        return any(w.stop.cold and w.end_us > from_us and w.start_us < to_us for w in self.windows)

    def events(self) -> list[NewRigEvent]:
        """The interruptions as records, the clock's setting as notes."""
        key = f"{self.facts.lot_number}-{self.rig_id}"
        stopped = [
            NewRigEvent(
                event_key=f"{key}-stop-{number:02d}",
                rig_id=self.rig_id,
                occurred_at=instant(window.start_us),
                kind="STOPPED",
                raw_code=RAW_CODES[self.rig_id][window.stop.purpose],
                note=STOP_NOTE[window.stop.purpose],
            )
            for number, window in enumerate(self.windows, start=1)
        ]
        return stopped + [
            NewRigEvent(
                event_key=f"{key}-clock-{number:02d}",
                rig_id=self.rig_id,
                occurred_at=instant(at_us),
                kind="NOTE",
                note=f"clock set by {shift_us / SECOND_US:+.0f} s, put right at the next start",
            )
            for number, (at_us, shift_us) in enumerate(self.jumps, start=1)
        ]
