"""Planning over HTTP."""

import pytest
from answers import codes, problem
from published_cases import published_case
from service_client import ServiceClient

SUCCESS_RUN = "/v1/plans/success-run"
WEIBAYES = (
    "/v1/plans/weibayes?reliability=0.95&confidence=0.9&target_cycles=100000"
    "&shape_low=2.0&shape_high=2.6&allowed_failures=0"
)


def test_a_success_run_names_its_units_and_the_confidence_of_one_less(
    service: ServiceClient,
) -> None:
    # 45 units for 95 % with 90 % (success-run tables, from memory); the two by 1 - R**n.
    plan = service.read(f"{SUCCESS_RUN}?reliability=0.95&confidence=0.9&allowed_failures=0")
    assert plan["unit_count"] == 45
    assert plan["confidence_reached"] == pytest.approx(1 - 0.95**45, rel=1e-12)
    assert plan["confidence_one_unit_less"] == pytest.approx(1 - 0.95**44, rel=1e-12)


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("reliability=0.95&confidence=0.9", "MISSING_PARAMETER"),
        ("reliability=1&confidence=0.9&allowed_failures=0", "INVALID_VALUE"),
        ("reliability=0.95&confidence=95&allowed_failures=0", "INVALID_VALUE"),
        ("reliability=nan&confidence=0.9&allowed_failures=0", "NOT_A_NUMBER"),
        ("reliability=0.95&confidence=0.9&allowed_failures=-1", "INVALID_VALUE"),
        ("reliability=0.95&confidence=0.9&allowed_failures=0.5", "INVALID_VALUE"),
        ("reliability=0.95&confidence=0.9&allowed_failures=0&units=4", "UNKNOWN_PARAMETER"),
    ],
)
def test_a_wrong_parameter_is_refused(service: ServiceClient, query: str, code: str) -> None:
    answer = service.get(f"{SUCCESS_RUN}?{query}")
    problem(answer, 400, "invalid-request")
    assert codes(answer) == [code]


def test_a_weibayes_plan_is_worked_out_either_way(service: ServiceClient) -> None:
    units = service.read(f"{WEIBAYES}&cycles_per_unit=200000&assumed_shape=2.0")
    # 44.89 target lives, four per unit at shape 2: 12 units.
    assert units["target_lives_required"] == pytest.approx(44.8905674803, rel=1e-9)
    assert units["binomial"] == {"shape": 2.0, "unit_count": 12, "cycles_per_unit": 200_000}
    assert units["poisson_at_assumed_shape"] == units["binomial"]
    assert units["assumes"] == "ONE_POPULATION"
    cycles = service.read(f"{WEIBAYES}&unit_count=12")
    # The square root of 44.89 / 12, in target lives: 193,414 cycles.
    assert cycles["poisson"] == {"shape": 2.0, "unit_count": 12, "cycles_per_unit": 193_414}
    assert "binomial_at_assumed_shape" not in cycles


def test_a_weibayes_plan_needs_exactly_one_of_units_and_cycles(service: ServiceClient) -> None:
    for query in ("", "&unit_count=12&cycles_per_unit=200000"):
        answer = service.get(WEIBAYES + query)
        problem(answer, 400, "invalid-request")
        assert codes(answer) == ["EXACTLY_ONE"]


def test_figures_for_which_there_is_no_plan_are_outside_the_domain(
    service: ServiceClient,
) -> None:
    query = WEIBAYES.replace("allowed_failures=0", "allowed_failures=12")
    problem(service.get(f"{query}&unit_count=12"), 400, "outside-domain")


FINITE_LOT = "/v1/plans/finite-lot"


@pytest.mark.parametrize("number", range(1, 7))
def test_a_plan_for_a_lot_of_known_size_gives_the_published_units(
    service: ServiceClient, number: int
) -> None:
    case = published_case(f"P-b_finite_lot-{number:03}")
    given, expected = case["inputs"], case["expected"]
    query = (
        f"lot_size={given['lot_size']}&max_nonconforming={given['max_nonconforming']}"
        f"&confidence={given['confidence']}&allowed_failures={given['accept']}"
    )
    found = service.read(f"{FINITE_LOT}?{query}")
    assert found["plan"]["unit_count"] == expected["n"]
    reached = expected["achieved_confidence"]
    assert found["plan"]["confidence_reached"] == pytest.approx(reached, rel=1e-9)
    assert "bound" not in found


@pytest.mark.parametrize("number", range(7, 11))
def test_a_finished_sample_bounds_the_lot_with_the_published_values(
    service: ServiceClient, number: int
) -> None:
    case = published_case(f"P-b_finite_lot-{number:03}")
    given = case["inputs"]
    query = (
        f"lot_size={given['lot_size']}&unit_count={given['n']}"
        f"&failure_count={given['found']}&confidence={given['confidence']}"
    )
    found = service.read(f"{FINITE_LOT}?{query}")
    assert "plan" not in found
    for name, value in case["expected"].items():
        assert found["bound"][name] == pytest.approx(value, rel=1e-9)


def test_a_claim_that_no_sample_shows_is_an_answer(service: ServiceClient) -> None:
    # Two failures allowed and one nonconforming unit tolerated: even testing all shows nothing.
    query = "lot_size=20&max_nonconforming=1&confidence=0.9&allowed_failures=2"
    found = service.read(f"{FINITE_LOT}?{query}")
    assert found["plan"] == {"type": "NOT_ESTIMABLE", "reason": "CANNOT_BE_SHOWN"}


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("lot_size=50&confidence=0.9", "EXACTLY_ONE"),
        ("lot_size=50&confidence=0.9&max_nonconforming=2", "EXACTLY_ONE"),
        ("lot_size=50&confidence=0.9&max_nonconforming=2&failure_count=0", "EXACTLY_ONE"),
        (
            "lot_size=50&confidence=0.9&max_nonconforming=2&allowed_failures=0"
            "&unit_count=5&failure_count=0",
            "EXACTLY_ONE",
        ),
        ("lot_size=0&confidence=0.9&unit_count=5&failure_count=0", "INVALID_VALUE"),
        ("confidence=0.9&unit_count=5&failure_count=0", "MISSING_PARAMETER"),
        ("lot_size=50&unit_count=5&failure_count=0", "MISSING_PARAMETER"),
    ],
)
def test_a_question_about_a_lot_of_known_size_is_whole_or_refused(
    service: ServiceClient, query: str, code: str
) -> None:
    refused = service.get(f"{FINITE_LOT}?{query}")
    problem(refused, 400, "invalid-request")
    assert codes(refused) == [code]


def test_more_units_than_the_lot_has_are_outside_the_domain(service: ServiceClient) -> None:
    for query in ("unit_count=51&failure_count=0", "max_nonconforming=50&allowed_failures=0"):
        refused = service.get(f"{FINITE_LOT}?lot_size=50&confidence=0.9&{query}")
        problem(refused, 400, "outside-domain")


def test_planning_needs_a_token(service: ServiceClient) -> None:
    answer = service.http.get(f"{SUCCESS_RUN}?reliability=0.9&confidence=0.9&allowed_failures=0")
    problem(answer, 401, "not-authenticated")
