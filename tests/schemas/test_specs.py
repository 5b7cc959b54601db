"""The length of a plan and where its credit ends."""

import msgspec
import pytest

from schemas.specs import Conditions, Plan, ReductionSettings

_TARGET = 1000


def plan(**lengths: object) -> Plan:
    fields = {"kind": "WEIBAYES", "unit_count": 8, "allowed_failures": 0, "overdue_hours": 48.0}
    return Plan(**fields, **lengths)


def test_planned_cycles_stand_as_they_are_stated() -> None:
    assert plan(planned_cycles=2000).planned_for(_TARGET) == 2000


@pytest.mark.parametrize(
    ("ratio", "planned"),
    # By hand: a part of a cycle cannot be run, so the length is rounded up; a ratio that is
    # meant to be whole in decimals (1.1 x 1000) must not become one cycle more.
    [(1.0, 1000), (2.0, 2000), (1.1, 1100), (0.7, 700), (1.0005, 1001), (2.0001, 2001)],
)
def test_a_life_ratio_gives_whole_cycles_rounded_up(ratio: float, planned: int) -> None:
    assert plan(life_ratio=ratio).planned_for(_TARGET) == planned


def test_credit_ends_at_the_planned_count_or_once_at_the_target() -> None:
    assert plan(planned_cycles=2000, credit="TO_PLANNED").credit_ends_at(_TARGET) == 2000
    assert plan(planned_cycles=2000, credit="ONCE_AT_TARGET").credit_ends_at(_TARGET) == 1000
    assert plan(planned_cycles=800, credit="ONCE_AT_TARGET").credit_ends_at(_TARGET) == 800


def test_a_rule_at_the_edges_that_is_not_stated_is_the_plain_one_and_changes_no_hash() -> None:
    band = {"pressure_lower_mpa": 31.59, "pressure_upper_mpa": 34.91, "station_modes": ["TEST"]}
    silent = msgspec.convert(band, Conditions)
    said = msgspec.json.decode(msgspec.json.encode(band | {"edge_rule": "PLAIN"}), type=Conditions)
    assert silent.edge_rule == "PLAIN"
    assert msgspec.json.encode(said) == msgspec.json.encode(silent)
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert(band | {"edge_rule": "HALF"}, Conditions)


@pytest.mark.parametrize("limit", [0, -0.1])
def test_a_station_may_not_be_allowed_no_change_at_all(limit: float) -> None:
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert({"station_drift_mpa": limit}, ReductionSettings)
