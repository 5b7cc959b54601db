"""Life against pressure over HTTP: published lives in, published values out."""

from __future__ import annotations

from typing import Any

import pytest
from answers import codes, pointers, problem
from published_cases import one_sided, published_case
from service_client import ServiceClient

ACCELERATION = "/v1/acceleration"
CASE = published_case("P-i_acceleration-003")


def asked(**changes: Any) -> dict[str, Any]:
    given = CASE["inputs"]
    lives = [
        {"ending": "FAILED" if status else "RUN_OUT", "cycles": cycles, "pressure_mpa": stress}
        for cycles, status, stress in zip(
            given["time"], given["status"], given["stress"], strict=True
        )
    ]
    return {
        "measure": "PEAK",
        "use_pressure_mpa": given["use_stress"],
        "confidence": one_sided(given["confidence"]),
        "fractions": [0.1],
        "lives": lives,
        **changes,
    }


def test_a_power_law_gives_the_published_values(service: ServiceClient) -> None:
    found = service.post(ACCELERATION, asked()).json()
    expected = CASE["expected"]
    assert found["exponent"]["estimate"] == pytest.approx(expected["exponent_n"], rel=1e-5)
    limits = [found["exponent"]["lower"], found["exponent"]["upper"]]
    assert limits == pytest.approx(expected["exponent_fisher"], rel=1e-5)
    assert found["shape"] == pytest.approx(expected["beta"], rel=1e-5)
    assert found["fit"]["log_likelihood"] == pytest.approx(expected["loglik"], abs=1e-5)
    at_use = found["at_use_pressure"]
    assert at_use["standing"] == "EXTRAPOLATED"
    scale = at_use["scale_cycles"]
    assert scale["estimate"] == pytest.approx(expected["eta_use"], rel=1e-5)
    assert [scale["lower"], scale["upper"]] == pytest.approx(expected["eta_use_fisher"], rel=1e-5)
    [b10] = at_use["b_lives"]
    assert b10["cycles"]["estimate"] == pytest.approx(expected["b_life_use"], rel=1e-5)
    assert "damage" not in found


def test_cycles_are_converted_over_a_range_of_assumed_exponents(service: ServiceClient) -> None:
    case = published_case("P-i_acceleration-004")
    given = case["inputs"]
    counts = [{"pressure_mpa": given["test_pressure"], "cycles": given["cycles"]}]
    body = asked(
        use_pressure_mpa=given["use_pressure"],
        pressure_counts=counts,
        assumed_exponents={"low": given["exponent"], "high": given["exponent"]},
    )
    found = service.post(ACCELERATION, body).json()
    over = found["damage_over_assumed_exponents"]
    wanted = case["expected"]["equivalent_use_cycles"]
    assert [over["least"], over["greatest"]] == pytest.approx([wanted, wanted], rel=1e-9)
    # The fitted exponent converts them too: 200 000 x (420 / 280)**n.
    exponent = CASE["expected"]["exponent_n"]
    assert found["damage"]["equivalent_cycles"] == pytest.approx(200_000 * 1.5**exponent, rel=1e-4)


def test_one_pressure_gives_no_law_and_says_so(service: ServiceClient) -> None:
    lives = [each for each in asked()["lives"] if each["pressure_mpa"] == 420]
    counts = [{"pressure_mpa": 420, "cycles": 1000}]
    answer = service.post(ACCELERATION, asked(lives=lives, pressure_counts=counts))
    assert answer.status_code == 200
    found = answer.json()
    refused = {"type": "NOT_ESTIMABLE", "reason": "FEWER_THAN_TWO_FAILURE_PRESSURES"}
    for name in ("fit", "at_use_pressure", "damage"):
        assert found[name] == refused
    assert not {"exponent", "shape"} & found.keys()
    assert found["checks"]["reason"] == "FEWER_THAN_TWO_GROUPS"


def test_life_that_grows_with_pressure_converts_no_cycles(service: ServiceClient) -> None:
    lives = [
        {"ending": "FAILED", "cycles": cycles, "pressure_mpa": pressure}
        for pressure, lives in ((30, (900, 1100)), (40, (1900, 2300)))
        for cycles in lives
    ]
    counts = [{"pressure_mpa": 40, "cycles": 1000}]
    found = service.post(ACCELERATION, asked(lives=lives, pressure_counts=counts)).json()
    assert found["exponent"]["estimate"] < 0
    assert found["damage"] == {"type": "NOT_ESTIMABLE", "reason": "EXPONENT_BELOW_ZERO"}


@pytest.mark.parametrize(
    ("changes", "code", "pointer"),
    [
        ({"measure": "MEAN"}, "INVALID_VALUE", "/measure"),
        ({"use_pressure_mpa": 0}, "INVALID_VALUE", "/use_pressure_mpa"),
        ({"confidence": 0.5}, "INVALID_VALUE", "/confidence"),
        ({"lives": [{"ending": "FAILED", "cycles": 5}]}, "MISSING_FIELD", "/lives/0"),
        (
            {"lives": [{"ending": "FAILED", "pressure_mpa": 5}]},
            "MISSING_FIELD",
            "/lives/0",
        ),
        (
            {"lives": [{"ending": "FAILED", "cycles": 5, "pressure_mpa": -1}]},
            "INVALID_VALUE",
            "/lives/0/pressure_mpa",
        ),
        ({"assumed_exponents": {"low": 4, "high": 8}}, "MISSING_FIELD", ""),
        (
            {"assumed_exponents": {"low": 9, "high": 8}},
            "RANGE_REVERSED",
            "/assumed_exponents/low",
        ),
    ],
)
def test_a_wrong_body_is_refused_at_its_place(
    service: ServiceClient, changes: dict[str, Any], code: str, pointer: str
) -> None:
    refused = service.post(ACCELERATION, {**asked(), **changes})
    problem(refused, 400, "invalid-request")
    assert codes(refused) == [code]
    assert pointers(refused) == [pointer]
