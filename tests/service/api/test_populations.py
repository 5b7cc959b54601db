"""Groups and lots compared over HTTP, and the shape that the lots of a part show."""

from __future__ import annotations

from typing import Any

import pytest
from answers import codes, problem
from bodies import lives_table
from published_cases import lot_lives, published_case
from service_client import ServiceClient

CASE = published_case("P-g_lr_test-001")
LOTS = {"lot_A": "POP-A", "lot_B": "POP-B", "lot_C": "POP-C"}


@pytest.fixture(scope="module")
def lot_ids(service: ServiceClient) -> dict[str, str]:
    """The three lots of the published comparison, by lot number."""
    found = {}
    for name, lot_number in LOTS.items():
        found[lot_number] = service.lot(lot_number, "POP-PART")["lot_id"]
        service.upload(lives_table(lot_lives(lot_number, CASE["inputs"]["groups"][name])))
    return found


def compared(service: ServiceClient, lot_ids: dict[str, str]) -> str:
    others = "&".join(f"other_lot={lot_ids[number]}" for number in ("POP-B", "POP-C"))
    return f"/v1/lots/{lot_ids['POP-A']}/homogeneity?{others}"


def test_lots_are_compared_with_the_published_values(
    service: ServiceClient, lot_ids: dict[str, str]
) -> None:
    found = service.read(compared(service, lot_ids))
    tests, expected = found["tests"], CASE["expected"]
    assert found["compared_by"] == "LOT"
    assert [group["name"] for group in found["groups"]] == list(lot_ids)
    for name, lot_number in LOTS.items():
        group = next(each for each in tests["groups"] if each["name"] == lot_number)
        assert group["scale_cycles"] == pytest.approx(expected["separate"][name]["eta"], rel=1e-5)
    shape = tests["common_shape"]["shape"]
    assert shape == pytest.approx(expected["common_beta"], rel=1e-5)
    for test, statistic, p_value in (
        ("shape_test", "lr_common_beta", "p_common_beta"),
        ("scale_test", "lr_common_eta_given_common_beta", "p_common_eta"),
        ("equal_test", "lr_all_equal", "p_all_equal"),
    ):
        assert tests[test]["statistic"] == pytest.approx(expected[statistic], rel=1e-5)
        assert tests[test]["p_value"] == pytest.approx(expected[p_value], rel=1e-5)
    assert found["log_rank"]["type"] == "LOG_RANK_TEST"
    assert len(found["provenance"]) == 3


def test_a_comparison_keeps_its_tag(service: ServiceClient, lot_ids: dict[str, str]) -> None:
    path = compared(service, lot_ids)
    tag = service.get(path).headers["etag"]
    same = service.get(path, **{"If-None-Match": tag})
    assert (same.status_code, same.content) == (304, b"")
    other = service.get(f"/v1/lots/{lot_ids['POP-A']}/homogeneity?by=RIG")
    assert other.headers["etag"] != tag


def test_units_are_grouped_by_their_batch_and_the_rest_is_named(service: ServiceClient) -> None:
    lot_id = service.lot("POP-D", "OTHER-PART")["lot_id"]
    service.sample(lot_id, ["001", "002"], "SB-16")
    service.sample(lot_id, ["003"], "SB-17")
    service.sample(lot_id, ["004", "005"])
    lives: list[dict[str, Any]] = [
        {"lot_number": "POP-D", "unit_serial": serial, "ending": ending, "cycles": cycles}
        for serial, ending, cycles in (
            ("001", "FAILED", 500),
            ("002", "FAILED", 700),
            ("003", "RUN_OUT", 900),
            ("004", "RUN_OUT", 900),
        )
    ]
    service.upload(lives_table(lives))
    found = service.read(f"/v1/lots/{lot_id}/homogeneity?by=COMPONENT_BATCH")
    assert found["groups"] == [
        {"name": "SB-16", "unit_count": 2, "failure_count": 2},
        {"name": "SB-17", "unit_count": 1, "failure_count": 0},
    ]
    reasons = {each["unit_serial"]: each["reason"] for each in found["ungrouped_units"]}
    assert reasons == {"004": "GROUP_NOT_RECORDED", "005": "NO_CREDITED_CYCLES"}
    # One group has no fit, so there is nothing to compare; an answer, not an error.
    assert found["tests"] == {"type": "NOT_ESTIMABLE", "reason": "FEWER_THAN_TWO_GROUPS"}


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("", "EXACTLY_ONE"),
        ("by=RIG&other_lot=lot_b", "EXACTLY_ONE"),
        ("other_lot={own}", "REPEATED_LOT"),
        ("other_lot=lot_b&other_lot=lot_b", "REPEATED_LOT"),
        ("by=OPERATOR", "INVALID_VALUE"),
        ("by=RIG&by=STATION", "REPEATED_PARAMETER"),
    ],
)
def test_a_comparison_of_nothing_clear_is_refused(
    service: ServiceClient, lot_ids: dict[str, str], query: str, code: str
) -> None:
    own = lot_ids["POP-A"]
    refused = service.get(f"/v1/lots/{own}/homogeneity?{query.format(own=own)}")
    problem(refused, 400, "invalid-request")
    assert codes(refused) == [code]


def test_too_many_lots_are_refused(service: ServiceClient, lot_ids: dict[str, str]) -> None:
    others = "&".join(f"other_lot=lot_{number}" for number in range(51))
    refused = service.get(f"/v1/lots/{lot_ids['POP-A']}/homogeneity?{others}")
    assert codes(refused) == ["TOO_MANY_LOTS"]


def test_an_unknown_lot_is_not_found(service: ServiceClient, lot_ids: dict[str, str]) -> None:
    problem(service.get("/v1/lots/lot_x/homogeneity?by=RIG"), 404, "not-found")
    path = f"/v1/lots/{lot_ids['POP-A']}/homogeneity?other_lot=lot_x"
    problem(service.get(path), 404, "not-found")


SHAPE = "/v1/shape-evidence?part_number=POP-PART&confidence=0.9"


def test_the_shape_of_a_part_rests_on_named_lots(
    service: ServiceClient, lot_ids: dict[str, str]
) -> None:
    found = service.read(SHAPE)
    assert found["lot_numbers"] == ["POP-A", "POP-B", "POP-C"]
    evidence = found["evidence"]
    assert evidence["verdict"] == "USABLE"
    # One shape for the three lots, a scale for each; source in the case.
    assert evidence["shape"] == pytest.approx(CASE["expected"]["common_beta"], rel=1e-5)
    assert evidence["failure_count"] == 19
    assert evidence["shape_low"] < CASE["expected"]["common_beta"] < evidence["shape_high"]


def test_a_lot_to_be_judged_can_be_left_out(
    service: ServiceClient, lot_ids: dict[str, str]
) -> None:
    found = service.read(f"{SHAPE}&leave_out_lot={lot_ids['POP-C']}")
    assert found["lot_numbers"] == ["POP-A", "POP-B"]
    assert found["left_out_on_request"] == ["POP-C"]
    assert found["evidence"]["failure_count"] == 11
    problem(service.get(f"{SHAPE}&leave_out_lot=lot_x"), 404, "not-found")


def test_a_part_without_lots_carries_no_shape(service: ServiceClient) -> None:
    found = service.read("/v1/shape-evidence?part_number=UNHEARD&confidence=0.9")
    assert (found["lot_numbers"], found["provenance"]) == ([], [])
    assert found["evidence"]["verdict"] == "NO_FAILURES"


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("part_number=CC25", "MISSING_PARAMETER"),
        ("confidence=0.9", "MISSING_PARAMETER"),
        ("part_number=CC25&confidence=0.5", "INVALID_VALUE"),
        ("part_number=%20&confidence=0.9", "INVALID_VALUE"),
    ],
)
def test_a_question_about_a_shape_needs_a_part_and_a_confidence(
    service: ServiceClient, query: str, code: str
) -> None:
    refused = service.get(f"/v1/shape-evidence?{query}")
    problem(refused, 400, "invalid-request")
    assert codes(refused) == [code]
