"""What a lot had run when a unit failed, from the times of its stretches."""

from datetime import UTC, datetime, timedelta

import msgspec
import pytest
from lives import life, outcome
from planned_lots import plan_terms, state_of

from analysis.decision.failure_clock import target_lives_at_failures
from schemas.lives import Outcome, StretchLine, UnitLife

START = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
TERMS = plan_terms("WEIBAYES", credit="TO_PLANNED")


def stretch(from_h: float, to_h: float, counted: int, before: int) -> StretchLine:
    return StretchLine(
        rig_id="RIG-A",
        run_id=f"R-{from_h}",
        station_no=1,
        lap=1,
        first_cycle_in_run=1,
        last_cycle_in_run=counted,
        first_started_at=START + timedelta(hours=from_h),
        last_started_at=START + timedelta(hours=to_h),
        logged_cycles=counted,
        counted_cycles=counted,
        not_counted_by={},
        unlogged_cycles=0,
        counted_before=before,
        stop_class="RIG_STOP",
    )


def unit(serial: str, result: Outcome, *stretches: StretchLine) -> UnitLife:
    return msgspec.structs.replace(life(serial, result), stretches=list(stretches))


def test_other_units_are_counted_to_the_time_of_the_failure() -> None:
    failed = unit("A", outcome("FAILED", 50_000), stretch(0, 50, 50_000, 0))
    # Half way through its second stretch at hour 50: 20,000 + 40,000.
    other = unit(
        "B", outcome("RUNNING", 100_000), stretch(0, 20, 20_000, 0), stretch(30, 70, 80_000, 20_000)
    )
    late = unit("C", outcome("RUNNING", 9_000), stretch(60, 69, 9_000, 0))
    lives = [failed, other, late]
    found = target_lives_at_failures(state_of(*[e.outcome for e in lives], lives=lives), TERMS)
    # Below the target a unit earns least at the largest shape of the range, 2.6.
    assert found == pytest.approx([0.5**2.6 + 0.6**2.6], rel=1e-4)


def test_failures_come_in_the_order_of_what_was_run() -> None:
    first = unit("A", outcome("FAILED", 90_000), stretch(0, 30, 90_000, 0))
    second = unit("B", outcome("FAILED", 40_000), stretch(0, 80, 40_000, 0))
    lives = [second, first]
    found = target_lives_at_failures(state_of(*[e.outcome for e in lives], lives=lives), TERMS)
    assert found == sorted(found)
    assert found[0] == pytest.approx(0.9**2.6 + 0.15**2.6, rel=1e-3)


def test_a_bracket_is_dated_at_its_low_end() -> None:
    between = unit("A", outcome("FAILED_BETWEEN", (30_000, 60_000)), stretch(0, 60, 60_000, 0))
    other = unit("B", outcome("RUNNING", 60_000), stretch(0, 60, 60_000, 0))
    lives = [between, other]
    found = target_lives_at_failures(state_of(*[e.outcome for e in lives], lives=lives), TERMS)
    assert found == pytest.approx([2 * 0.3**2.6], rel=1e-3)


def test_a_failure_beyond_the_credit_is_none_of_the_plans() -> None:
    beyond = unit("A", outcome("FAILED", 250_000), stretch(0, 99, 250_000, 0))
    assert target_lives_at_failures(state_of(beyond.outcome, lives=[beyond]), TERMS) == []


def test_cycles_of_a_thinned_log_are_earned_too() -> None:
    failed = unit("A", outcome("FAILED", 50_000), stretch(0, 50, 50_000, 0))
    thinned = msgspec.structs.replace(stretch(0, 50, 5_000, 0), inferred_cycles=45_000)
    lives = [failed, unit("B", outcome("RUNNING", 50_000), thinned)]
    found = target_lives_at_failures(state_of(*[e.outcome for e in lives], lives=lives), TERMS)
    assert found == pytest.approx([2 * 0.5**2.6], rel=1e-4)
