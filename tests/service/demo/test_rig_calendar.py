"""A rig's calendar: who leads, when it stands still, when it is cold."""

from datetime import UTC, datetime

from service.demo.facts import Stop
from service.demo.lots import lot
from service.demo.rig_calendar import RigCalendar, Window, instant


def calendar() -> RigCalendar:
    rig = RigCalendar(lot("L01"), "RIG-A", 0.05)
    warm = Stop(rig_id="RIG-A", at_cycles=1, minutes=1, purpose="GUARD")
    cold = Stop(rig_id="RIG-A", at_cycles=2, minutes=1, purpose="POWER", cold=True)
    rig.windows = [
        Window(stop=warm, start_us=100, end_us=200),
        Window(stop=cold, start_us=500, end_us=900),
    ]
    return rig


def test_the_longest_lived_unit_leads() -> None:
    rig = calendar()
    lives = {n: rig.units_of(n)[0].life_cycles for n in range(1, 7)}
    first, *others = rig.stations_lead_first()
    assert lives[first] == max(lives.values())
    assert sorted([first, *others]) == [1, 2, 3, 4, 5, 6]


def test_nothing_starts_while_the_rig_stands_still() -> None:
    rig = calendar()
    assert [rig.free_from(at) for at in (99, 100, 199, 200, 600)] == [99, 200, 200, 200, 900]


def test_the_next_interruption_is_the_first_one_still_to_come() -> None:
    rig = calendar()
    coming = [rig.next_window(at) for at in (0, 100, 499, 500)]
    assert [window.start_us if window else None for window in coming] == [100, 500, 500, None]


def test_only_a_cold_interruption_in_between_cools_the_fluid() -> None:
    rig = calendar()
    assert not rig.cooled_between(100, 250)
    assert rig.cooled_between(500, 900)
    assert not rig.cooled_between(900, 950)


def test_an_instant_is_exact_to_the_microsecond() -> None:
    assert instant(1_736_748_000_000_001) == datetime(2025, 1, 13, 6, 0, 0, 1, tzinfo=UTC)
