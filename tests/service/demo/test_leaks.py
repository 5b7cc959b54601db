"""A leak begins where its growth reaches the limit at the life, and goes only within a run."""

import pytest
from msgspec import structs

from service.demo.facts import UnitFacts
from service.demo.leaks import leak_of

UNIT = UnitFacts(
    unit_no=3,
    unit_serial="L99-003",
    component_batch="SB-12",
    rig_id="RIG-A",
    station_no=3,
    life_cycles=150_000,
    growth_mpa_per_1000=0.02,
)
STARTS = tuple(range(0, 175_001, 25_000))


@pytest.mark.parametrize("scale", [0.05, 1.0])
def test_decay_grows_from_0_060_to_the_limit_of_0_60_at_the_life(scale: float) -> None:
    leak = leak_of(UNIT, scale=scale, seed=1, last_cycle=150_000, starts=STARTS)
    # 0.54 MPa at 0.02 MPa per 1,000 cycles: 27,000 cycles.
    assert leak.onset_cycles == pytest.approx(123_000 * scale)
    assert leak.growth_mpa_per_cycle == pytest.approx(0.00002 / scale)
    assert leak.off_spells == ()


def test_a_slow_leak_of_a_short_life_is_fast_enough_to_begin_after_two_fifths_of_it() -> None:
    short = structs.replace(UNIT, life_cycles=14_700)
    leak = leak_of(short, scale=1.0, seed=1, last_cycle=14_700, starts=(0,))
    assert leak.onset_cycles == pytest.approx(0.4 * 14_700)


def test_a_rod_seal_leak_adds_less_decay_than_a_sound_unit_may_show() -> None:
    outside = structs.replace(UNIT, mode="ROD_SEAL_LEAK")
    leak = leak_of(outside, scale=1.0, seed=1, last_cycle=175_000, starts=STARTS)
    assert leak.onset_cycles == 150_000
    # To the next inspection at most 25,000 cycles; the dead band is 0.015 MPa.
    assert 25_000 * leak.growth_mpa_per_cycle < 0.015


@pytest.mark.parametrize("seed", range(12))
def test_a_leak_goes_within_a_run_and_has_come_back_well_before_the_failure(seed: int) -> None:
    goes = structs.replace(UNIT, comes_and_goes=True)
    spells = leak_of(goes, scale=1.0, seed=seed, last_cycle=150_000, starts=STARTS).off_spells
    assert len(spells) >= 3
    for (first, last), following in zip(spells, [*spells[1:], (150_000, 0)], strict=True):
        assert 123_000 + 300 <= first < last <= following[0]
        assert last - first >= 199
        assert all(at + 500 <= first or last <= at - 500 for at in STARTS)
    assert spells[-1][1] <= 150_000 - 400
