"""Contradictions are refused with their place; plans that show too little are not approved."""

from typing import Any

import msgspec
import pytest

from analysis.decision.spec_checks import approval_faults, draft_faults, settings_not_applied
from schemas.specs import Spec

REQUIREMENT = {"reliability": 0.95, "confidence": 0.90, "target_cycles": 100_000}
DECAY = {
    "name": "SEAL_DECAY",
    "detected_by": "CYCLES",
    "seen_as": "DECAY",
    "relevant": True,
    "critical": False,
}
WEIBAYES: dict[str, Any] = {
    "spec_id": "CC25-Q1",
    "part_number": "CC25",
    "requirement": [REQUIREMENT],
    "shape": {"assumed_shape": 2.0, "shape_low": 2.0, "shape_high": 2.6, "source": "earlier lots"},
    "conditions": {
        "pressure_lower_mpa": 31.59,
        "pressure_upper_mpa": 34.91,
        "pressure_invalidation_mpa": 36.58,
        "station_modes": ["TEST"],
    },
    "failure": {
        "modes": [DECAY],
        "decay_limit_mpa": 0.6,
        "persistence": {"rule": "CONSECUTIVE", "cycles": 5},
    },
    "reduction": {},
    "plan": {
        "kind": "WEIBAYES",
        "credit": "TO_PLANNED",
        "unit_count": 12,
        "planned_cycles": 200_000,
        "allowed_failures": 0,
        "overdue_hours": 48,
    },
}
ATTRIBUTE_PLAN = {
    "kind": "ATTRIBUTE",
    "unit_count": 45,
    "planned_cycles": 100_000,
    "allowed_failures": 0,
    "overdue_hours": 48,
}


def spec_with(**changes: Any) -> Spec:
    """The clamp cylinder's specification with some parts replaced; None takes a part away."""
    parts = {**WEIBAYES, **changes}
    return msgspec.convert({k: v for k, v in parts.items() if v is not None}, Spec)


def failure(**changes: Any) -> dict[str, Any]:
    parts = {**WEIBAYES["failure"], **changes}
    return {name: value for name, value in parts.items() if value is not None}


def plan(**changes: Any) -> dict[str, Any]:
    parts = {**WEIBAYES["plan"], **changes}
    return {name: value for name, value in parts.items() if value is not None}


def conditions(**changes: Any) -> dict[str, Any]:
    return {**WEIBAYES["conditions"], **changes}


def mode(**changes: Any) -> dict[str, Any]:
    return {**DECAY, **changes}


def shape(**changes: Any) -> dict[str, Any]:
    return {**WEIBAYES["shape"], **changes}


def test_a_sound_specification_has_no_fault() -> None:
    assert draft_faults(spec_with()) == []
    assert approval_faults(spec_with()) == []
    assert draft_faults(spec_with(plan=ATTRIBUTE_PLAN, shape=None)) == []
    assert approval_faults(spec_with(plan=ATTRIBUTE_PLAN, shape=None)) == []


@pytest.mark.parametrize(
    ("changes", "code", "pointer"),
    [
        ({"shape": shape(shape_low=2.7)}, "RANGE_REVERSED", "/shape/shape_low"),
        ({"shape": shape(assumed_shape=1.9)}, "OUTSIDE_RANGE", "/shape/assumed_shape"),
        ({"shape": shape(assumed_shape=2.7)}, "OUTSIDE_RANGE", "/shape/assumed_shape"),
        ({"shape": None}, "SHAPE_MISSING", "/shape"),
        (
            {"conditions": conditions(pressure_lower_mpa=34.91)},
            "RANGE_REVERSED",
            "/conditions/pressure_lower_mpa",
        ),
        (
            {"conditions": conditions(pressure_invalidation_mpa=34.9)},
            "OUTSIDE_RANGE",
            "/conditions/pressure_invalidation_mpa",
        ),
        (
            {"conditions": conditions(rise_time_min_s=0.5, rise_time_max_s=0.4)},
            "RANGE_REVERSED",
            "/conditions/rise_time_min_s",
        ),
        (
            {"conditions": conditions(fluid_temperature_min_c=60, fluid_temperature_max_c=40)},
            "RANGE_REVERSED",
            "/conditions/fluid_temperature_min_c",
        ),
        (
            {"conditions": conditions(station_modes=["TEST", "TSET"])},
            "UNKNOWN_STATION_MODE",
            "/conditions/station_modes/1",
        ),
        ({"failure": failure(modes=[DECAY, DECAY])}, "REPEATED", "/failure/modes"),
        ({"failure": failure(modes=[mode(relevant=False)])}, "NO_RELEVANT_MODE", "/failure/modes"),
        (
            {"failure": failure(modes=[DECAY, mode(name="X", relevant=False, critical=True)])},
            "CONTRADICTION",
            "/failure/modes/1/critical",
        ),
        (
            {"failure": failure(modes=[mode(seen_as="LEAK")], leak_class_fails_at=4)},
            "CONTRADICTION",
            "/failure/modes/0/detected_by",
        ),
        ({"failure": failure(decay_limit_mpa=None)}, "LIMIT_MISSING", "/failure/decay_limit_mpa"),
        ({"failure": failure(persistence=None)}, "LIMIT_MISSING", "/failure/persistence"),
        (
            {"failure": failure(modes=[mode(seen_as="BURST")])},
            "LIMIT_MISSING",
            "/failure/burst_below_mpa",
        ),
        (
            {"failure": failure(modes=[mode(seen_as="LEAK", detected_by="INSPECTION")])},
            "LIMIT_MISSING",
            "/failure/leak_class_fails_at",
        ),
        ({"failure": failure(burst_below_mpa=32.0)}, "OUTSIDE_RANGE", "/failure/burst_below_mpa"),
        (
            {"failure": failure(persistence={"rule": "MOVING_AVERAGE", "cycles": 5})},
            "OUTSIDE_RANGE",
            "/failure/persistence/cycles",
        ),
        (
            {
                "reduction": {
                    "onset": {
                        "block_cycles": 100,
                        "baseline_blocks": [220, 20],
                        "mask_after_start_cycles": 300,
                        "dead_band_mpa": 0.015,
                        "alarm_mpa": 0.05,
                    }
                }
            },
            "RANGE_REVERSED",
            "/reduction/onset/baseline_blocks",
        ),
        ({"plan": plan(life_ratio=2.0)}, "EXACTLY_ONE", "/plan"),
        ({"plan": plan(planned_cycles=None)}, "EXACTLY_ONE", "/plan"),
        ({"plan": plan(max_units=11)}, "OUTSIDE_RANGE", "/plan/max_units"),
        ({"plan": plan(allowed_failures=12)}, "OUTSIDE_RANGE", "/plan/allowed_failures"),
        ({"plan": plan(credit=None)}, "CREDIT_MISSING", "/plan/credit"),
        (
            {"plan": plan(credit="ONCE_AT_TARGET", planned_cycles=99_999)},
            "SHORT_OF_TARGET",
            "/plan/planned_cycles",
        ),
        ({"plan": {**ATTRIBUTE_PLAN, "credit": "TO_PLANNED"}}, "CONTRADICTION", "/plan/credit"),
        (
            {"plan": {**ATTRIBUTE_PLAN, "planned_cycles": 99_999}},
            "SHORT_OF_TARGET",
            "/plan/planned_cycles",
        ),
        (
            {"plan": {**ATTRIBUTE_PLAN, "planned_cycles": 100_001}, "shape": None},
            "SHAPE_MISSING",
            "/shape",
        ),
    ],
)
def test_a_contradiction_is_refused_with_its_place(
    changes: dict[str, Any], code: str, pointer: str
) -> None:
    [fault] = draft_faults(spec_with(**changes))
    assert (fault.code, fault.pointer) == (code, pointer)


def test_every_fault_is_named_not_only_the_first() -> None:
    found = draft_faults(spec_with(shape=None, plan=plan(credit=None, max_units=3)))
    assert {fault.pointer for fault in found} == {"/shape", "/plan/credit", "/plan/max_units"}


def test_a_weibayes_plan_short_of_the_target_is_a_choice() -> None:
    assert draft_faults(spec_with(plan=plan(planned_cycles=50_000))) == []


@pytest.mark.parametrize(
    ("reliability", "confidence", "allowed_failures", "unit_count"),
    [
        # 22 and 45 stand in success-run tables (22 read in a public article, 45 from memory).
        # 38 and 77 by hand: 0.9**38 + 38 * 0.1 * 0.9**37 = 0.0953, one unit less 0.1036;
        # 0.95**77 + 77 * 0.05 * 0.95**76 = 0.0973, one unit less 0.1014.
        (0.90, 0.90, 0, 22),
        (0.95, 0.90, 0, 45),
        (0.90, 0.90, 1, 38),
        (0.95, 0.90, 1, 77),
        # Exact at the boundary: 0.9**3 = 0.729 = 1 - 0.271.
        (0.90, 0.271, 0, 3),
    ],
)
def test_an_attribute_plan_is_approved_from_the_published_number_of_units_on(
    reliability: float, confidence: float, allowed_failures: int, unit_count: int
) -> None:
    requirement = {**REQUIREMENT, "reliability": reliability, "confidence": confidence}

    def faults(units: int) -> list[Any]:
        chosen = {**ATTRIBUTE_PLAN, "unit_count": units, "allowed_failures": allowed_failures}
        return approval_faults(spec_with(plan=chosen, requirement=[requirement], shape=None))

    assert faults(unit_count) == []
    [fault] = faults(unit_count - 1)
    assert (fault.code, fault.pointer) == ("PLAN_DOES_NOT_DEMONSTRATE", "/plan/unit_count")
    assert f"{unit_count} units are needed" in fault.detail


def test_beyond_the_target_the_smallest_shape_of_the_range_decides() -> None:
    # R = 0.95 at the target is 0.95**(2**2) = 0.8145 at twice the target for shape 2:
    # 12 units without a failure show it with 90 % (0.8145**12 = 0.0853), 11 do not (0.1047).
    twice = {**ATTRIBUTE_PLAN, "planned_cycles": 200_000}
    assert approval_faults(spec_with(plan={**twice, "unit_count": 12})) == []
    assert len(approval_faults(spec_with(plan={**twice, "unit_count": 11}))) == 1


def test_a_very_long_plan_needs_one_unit_and_overflows_nothing() -> None:
    long = {**ATTRIBUTE_PLAN, "planned_cycles": None, "life_ratio": 1000, "unit_count": 1}
    chosen = {name: value for name, value in long.items() if value is not None}
    assert approval_faults(spec_with(plan=chosen, shape=shape(shape_high=50.0))) == []


def onset(**changes: Any) -> dict[str, Any]:
    return {
        "onset": {
            "block_cycles": 100,
            "baseline_blocks": [20, 220],
            "mask_after_start_cycles": 300,
            "dead_band_mpa": 0.015,
            "alarm_mpa": 0.05,
            **changes,
        }
    }


def test_leak_onset_may_be_a_failure_where_it_can_be_found_and_counts() -> None:
    by_onset = failure(onset_is_failure=True)
    assert approval_faults(spec_with(failure=by_onset, reduction=onset())) == []
    faults = approval_faults(spec_with(failure=by_onset))
    assert [(each.code, each.pointer) for each in faults] == [("LIMIT_MISSING", "/reduction/onset")]


def test_leak_onset_is_no_failure_without_a_relevant_mode_that_shows_as_decay() -> None:
    other = failure(onset_is_failure=True, modes=[mode(seen_as="CANNOT_BUILD")])
    [fault] = approval_faults(spec_with(failure=other, reduction=onset()))
    assert (fault.code, fault.pointer) == ("NO_RELEVANT_MODE", "/failure/onset_is_failure")


def test_leak_onset_is_no_failure_where_the_baseline_takes_the_whole_plan() -> None:
    by_onset = failure(onset_is_failure=True)
    # 2,000 blocks of 100 are the 200,000 planned cycles.
    long = onset(baseline_blocks=[20, 2_000])
    [fault] = approval_faults(spec_with(failure=by_onset, reduction=long))
    assert (fault.code, fault.pointer) == ("CONTRADICTION", "/reduction/onset/baseline_blocks")
    just = onset(baseline_blocks=[20, 1_999])
    assert approval_faults(spec_with(failure=by_onset, reduction=just)) == []
    assert approval_faults(spec_with(reduction=long)) == []


@pytest.mark.parametrize("name", ["dead_band_mpa", "alarm_mpa"])
def test_a_search_for_onset_in_every_unit_is_a_fault_and_is_not_applied(name: str) -> None:
    [fault] = draft_faults(spec_with(reduction=onset(**{name: 0.0})))
    assert (fault.code, fault.pointer) == ("OUTSIDE_RANGE", f"/reduction/onset/{name}")
    assert settings_not_applied(spec_with(reduction=onset(**{name: 0.0}))) == ["reduction.onset"]


def test_settings_that_rules_use_are_not_named() -> None:
    # The pressure that invalidates a unit is stated here, and it is watched.
    assert settings_not_applied(spec_with()) == []
    applied = {
        "under_pressure_share_max": 0.05,
        "clipped_cycles": 3,
        "swap_step": {"decay_mpa": 0.1},
        "warm_up_cycles": 50,
        **onset(station_step_mpa=0.01, sensor_step_mpa=0.004),
    }
    assert settings_not_applied(spec_with(reduction=applied)) == []


@pytest.mark.parametrize(
    ("plan", "is_possible"),
    [
        # 44.89 target lives (chi2(0.9; 2) / (-2 ln 0.95)); 4 a unit to twice the target, shape 2.
        ({"unit_count": 12}, True),
        ({"unit_count": 11}, False),
        ({"unit_count": 11, "max_units": 12}, True),
        # 75.83 with one failure allowed: 19 units of 4 reach 76.
        ({"unit_count": 19, "allowed_failures": 1}, True),
        ({"unit_count": 18, "allowed_failures": 1}, False),
        # Credited once at the target: 45 units for 44.89.
        ({"unit_count": 45, "credit": "ONCE_AT_TARGET"}, True),
        ({"unit_count": 44, "credit": "ONCE_AT_TARGET"}, False),
        # Short of the target the largest shape gives least: 0.5**2.6 = 0.165 a unit.
        ({"unit_count": 273, "planned_cycles": 50_000}, True),
        ({"unit_count": 272, "planned_cycles": 50_000}, False),
    ],
)
def test_a_plan_on_target_lives_must_be_able_to_reach_them(
    plan: dict[str, Any], is_possible: bool
) -> None:
    faults = approval_faults(spec_with(plan={**WEIBAYES["plan"], **plan}))
    assert [fault.code for fault in faults] == ([] if is_possible else ["PLAN_CANNOT_ACCEPT"])
    if faults:
        assert "Plan more units" in faults[0].detail
