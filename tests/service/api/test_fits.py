"""Life distributions over HTTP: published lives in, published values out; refusals with a place."""

from __future__ import annotations

from typing import Any

import pytest
from answers import codes, pointers, problem
from bodies import lives_table
from published_cases import lot_lives, one_sided, published_case, sent_lives
from service_client import ServiceClient

from service.workflows import fits

FITS = "/v1/fits"
STOPS_SHORT = [
    *[{"ending": "FAILED", "cycles": cycles} for cycles in (4_568, 49_576, 70_159)],
    {"ending": "RUN_OUT", "cycles": 71_733, "count": 7},
]


def asked(lives: list[dict[str, Any]], **changes: Any) -> dict[str, Any]:
    return {"distributions": ["WEIBULL"], "confidence": 0.9, "lives": lives, **changes}


def answer(service: ServiceClient, body: dict[str, Any]) -> Any:
    found = service.post(FITS, body)
    assert found.status_code == 200, found.text
    return found.json()


# Complete, right-censored and one failure among run-outs; sources stand in the cases.
@pytest.mark.parametrize("number", ["001", "005", "013"])
def test_a_fit_gives_the_published_values(service: ServiceClient, number: str) -> None:
    case = published_case(f"P-e_life_fit-{number}")
    given, expected = case["inputs"], case["expected"]
    body = asked(
        sent_lives(given["data"]),
        confidence=one_sided(given["confidence"]),
        at_cycles=[given["at"]],
        fractions=[given["b_percent"] / 100],
    )
    report = answer(service, body)
    [weibull] = report["distributions"]
    assert weibull["scale_cycles"] == pytest.approx(expected["eta"], rel=1e-5)
    assert weibull["shape"] == pytest.approx(expected["beta"], rel=1e-5)
    assert weibull["fit"]["log_likelihood"] == pytest.approx(expected["loglik"], abs=1e-5)
    fisher, ratio = weibull["fisher_limits"], weibull["likelihood_limits"]
    assert _pair(fisher["scale_cycles"]) == pytest.approx(expected["eta_fisher"], rel=1e-5)
    assert _pair(fisher["shape"]) == pytest.approx(expected["beta_fisher"], rel=1e-5)
    assert _pair(ratio["scale_cycles"]) == pytest.approx(expected["eta_lr"], rel=1e-4)
    assert _pair(ratio["shape"]) == pytest.approx(expected["beta_lr"], rel=1e-4)
    [reliability], [b_life] = fisher["reliability"], fisher["b_lives"]
    assert reliability["estimate"] == pytest.approx(expected["reliability"], rel=1e-5)
    assert _pair(reliability) == pytest.approx(expected["reliability_fisher"], rel=1e-5)
    assert b_life["estimate_cycles"] == pytest.approx(expected["b_life"], rel=1e-5)


def _pair(limits: dict[str, float]) -> list[float]:
    return [limits["lower"], limits["upper"]]


def test_what_assumes_no_distribution_stands_beside_it(service: ServiceClient) -> None:
    case = published_case("P-e_nonparametric-001")
    given = case["inputs"]
    lives = sent_lives(given["data"])
    report = answer(service, asked(lives, confidence=one_sided(given["confidence"])))
    steps, hazards = report["survival"]["steps"], report["cumulative_hazard"]["steps"]
    for row, step, hazard in zip(case["expected"]["rows"], steps, hazards, strict=True):
        assert step["cycles"] == row["time"]
        assert step["survival"] == pytest.approx(row["survival"], rel=1e-9)
        log_log = [row["loglog_lower"], row["loglog_upper"]]
        assert _pair(step["log_log_limits"]) == pytest.approx(log_log, rel=1e-9)
        assert hazard["cumulative_hazard"] == pytest.approx(row["cum_hazard_na"], rel=1e-9)


def test_few_failures_bring_the_advice_and_a_warning(service: ServiceClient) -> None:
    report = answer(service, asked(STOPS_SHORT))
    assert report["advice"]["recommended"] == "LIKELIHOOD_RATIO"
    assert "FEW_FAILURES" in report["warnings"]


@pytest.mark.parametrize("number", ["001", "002", "003", "004"])
def test_a_fit_that_does_not_exist_is_an_answer_with_its_reason(
    service: ServiceClient, number: str
) -> None:
    case = published_case(f"P-k_existence-{number}")
    report = answer(service, asked(sent_lives(case["inputs"]["data"])))
    found = report["distributions"][0]["fit"]["type"]
    assert (found == "LIFE_FIT") == case["expected"]["mle_exists"]


def test_without_a_failure_nothing_is_estimated_and_nothing_breaks(service: ServiceClient) -> None:
    every = ["WEIBULL", "LOGNORMAL", "EXPONENTIAL"]
    lives = [{"ending": "RUN_OUT", "cycles": 200_000, "count": 12}]
    report = answer(service, asked(lives, distributions=every, second_opinion=True))
    refused = {"type": "NOT_ESTIMABLE", "reason": "NO_FAILURES"}
    assert [each["fit"] for each in report["distributions"]] == [refused] * 3
    assert "advice" not in report
    assert report["survival"]["steps"] == []
    assert {each["code"] for each in report["second_opinion"]["distributions"]} == {"NOT_FITTED"}


def test_brackets_get_their_own_curve(service: ServiceClient) -> None:
    lives = [
        {"ending": "FAILED_BETWEEN", "cycles_low": 30_000, "cycles_high": 40_000},
        {"ending": "FAILED_BETWEEN", "cycles_low": 40_000, "cycles_high": 50_000},
        {"ending": "FAILED", "cycles": 52_000},
        {"ending": "SUSPENDED", "cycles": 60_000, "count": 6},
    ]
    report = answer(service, asked(lives))
    assert report["survival"]["type"] == "INTERVAL_SURVIVAL"
    assert report["distributions"][0]["fit"]["type"] == "LIFE_FIT"
    assert report["rank_line"]["type"] == "NOT_ESTIMABLE"


def test_modes_are_fitted_apart(service: ServiceClient) -> None:
    lives = [
        *[{"ending": "FAILED", "cycles": c, "failure_mode": "SEAL"} for c in (90_000, 130_000)],
        *[{"ending": "FAILED", "cycles": c, "failure_mode": "CRACK"} for c in (140_000, 180_000)],
        {"ending": "RUN_OUT", "cycles": 200_000, "count": 7},
    ]
    report = answer(service, asked(lives))
    found = {each["mode"]: each["failure_count"] for each in report["modes"]["modes"]}
    assert found == {"SEAL": 2, "CRACK": 2}
    assert "modes" not in answer(service, asked(STOPS_SHORT))


def test_a_seed_gives_the_same_resamples_again(service: ServiceClient) -> None:
    def limits(seed: int) -> Any:
        drawn = {"kind": "NON_PARAMETRIC", "resample_count": 499, "seed": seed}
        return answer(service, asked(STOPS_SHORT, bootstrap=drawn))["bootstrap"]

    assert limits(1) == limits(1)
    assert limits(1) != limits(2)
    assert limits(1)["resample_count"] == 499


def test_a_second_opinion_is_given_on_request_and_a_short_stop_shown(
    service: ServiceClient,
) -> None:
    # The log-likelihoods: R 4.2.2 survreg -39.748, the library -40.358, as found when the
    # example was looked for.
    report = answer(service, asked(STOPS_SHORT, second_opinion=True))
    weibull = report["second_opinion"]["distributions"][0]
    assert (weibull["distribution"], weibull["code"]) == ("WEIBULL", "OURS_HIGHER")
    assert weibull["our_log_likelihood"] == pytest.approx(-39.748, abs=5e-4)
    assert weibull["library_log_likelihood"] == pytest.approx(-40.358, abs=5e-4)
    assert "SECOND_OPINION_DIFFERS" in report["warnings"]
    assert "second_opinion" not in answer(service, asked(STOPS_SHORT))


def test_a_library_that_takes_too_long_is_not_waited_for(
    service: ServiceClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fits, "LIBRARY_SECONDS", 0.0)
    report = answer(service, asked(STOPS_SHORT, second_opinion=True))
    assert report["second_opinion"] == {"type": "NOT_ESTIMABLE", "reason": "TOOK_TOO_LONG"}
    assert report["distributions"][0]["fit"]["type"] == "LIFE_FIT"


@pytest.mark.parametrize(
    ("changes", "code", "pointer"),
    [
        ({"confidence": 0.5}, "INVALID_VALUE", "/confidence"),
        ({"confidence": 95}, "INVALID_VALUE", "/confidence"),
        ({"distributions": []}, "INVALID_VALUE", "/distributions"),
        ({"distributions": ["GUMBEL"]}, "INVALID_VALUE", "/distributions/0"),
        ({"at_cycles": [1000, 0]}, "INVALID_VALUE", "/at_cycles/1"),
        ({"at_cycles": [1.0] * 201}, "INVALID_VALUE", "/at_cycles"),
        ({"fractions": [1.0]}, "INVALID_VALUE", "/fractions/0"),
        ({"lives": []}, "INVALID_VALUE", "/lives"),
        ({"lives": [{"ending": "FAILED"}]}, "MISSING_FIELD", "/lives/0"),
        ({"lives": [{"ending": "VOID", "cycles": 5}]}, "INVALID_VALUE", "/lives/0/ending"),
        ({"lives": [{"ending": "FAILED", "cycles": "5"}]}, "INVALID_VALUE", "/lives/0/cycles"),
        ({"lives": [{"ending": "FAILED", "cycles": 0}]}, "INVALID_VALUE", "/lives/0/cycles"),
        ({"lives": [{"ending": "FAILED", "life": 5}]}, "UNKNOWN_FIELD", "/lives/0/life"),
        ({"lives": STOPS_SHORT * 1251}, "INVALID_VALUE", "/lives"),
        ({"bootstrap": {"kind": "PARAMETRIC", "seed": 1}}, "MISSING_FIELD", "/bootstrap"),
    ],
)
def test_a_wrong_body_is_refused_at_its_place(
    service: ServiceClient, changes: dict[str, Any], code: str, pointer: str
) -> None:
    refused = service.post(FITS, {**asked(STOPS_SHORT), **changes})
    problem(refused, 400, "invalid-request")
    assert codes(refused) == [code]
    assert pointers(refused) == [pointer]


def test_a_body_without_a_confidence_is_refused(service: ServiceClient) -> None:
    body = asked(STOPS_SHORT)
    del body["confidence"]
    refused = service.post(FITS, body)
    problem(refused, 400, "invalid-request")
    assert codes(refused) == ["MISSING_FIELD"]


def test_too_few_resamples_for_the_confidence_are_outside_the_method(
    service: ServiceClient,
) -> None:
    drawn = {"kind": "PARAMETRIC", "resample_count": 100, "seed": 1}
    problem(
        service.post(FITS, asked(STOPS_SHORT, confidence=0.999, bootstrap=drawn)),
        400,
        "outside-domain",
    )


@pytest.fixture(scope="module")
def lot_id(service: ServiceClient) -> str:
    """A lot with the published right-censored lives, in whole cycles."""
    case = published_case("P-e_life_fit-005")["inputs"]["data"]
    data = {**case, "time": [int(each) for each in case["time"]]}
    service.upload(lives_table(lot_lives("FITS-1", data)))
    [lot] = service.read("/v1/lots?lot_number=FITS-1")["items"]
    return str(lot["lot_id"])


def test_a_lots_lives_are_fitted_as_they_stand(service: ServiceClient, lot_id: str) -> None:
    case = published_case("P-e_life_fit-005")
    confidence = one_sided(case["inputs"]["confidence"])
    path = f"/v1/lots/{lot_id}/fits?confidence={confidence}&at_cycles=10000&fraction=0.1"
    found = service.read(f"{path}&distribution=WEIBULL")
    [weibull] = found["report"]["distributions"]
    assert weibull["scale_cycles"] == pytest.approx(case["expected"]["eta"], rel=1e-5)
    limits = weibull["likelihood_limits"]["shape"]
    assert _pair(limits) == pytest.approx(case["expected"]["beta_lr"], rel=1e-4)
    assert len(found["lives"]) == len(case["inputs"]["data"]["time"])
    assert found["lives"][0] == {
        "unit_id": found["lives"][0]["unit_id"],
        "unit_serial": "001",
        "ending": "FAILED",
        "used": True,
        "cycles": 6700,
        "failure_mode": "UNANALYSED",
    }
    evaluation = service.evaluation(lot_id)
    assert found["provenance"] == evaluation["provenance"]
    every = [each["distribution"] for each in service.read(path)["report"]["distributions"]]
    assert every == ["WEIBULL", "LOGNORMAL", "EXPONENTIAL"]


def test_a_lots_fits_keep_their_tag_until_facts_or_the_question_change(
    service: ServiceClient,
) -> None:
    service.upload(lives_table(lot_lives("FITS-2", {"time": [500, 900], "status": [1, 0]})))
    [lot] = service.read("/v1/lots?lot_number=FITS-2")["items"]
    path = f"/v1/lots/{lot['lot_id']}/fits"
    tag = service.get(f"{path}?confidence=0.9").headers["etag"]
    same = service.get(f"{path}?confidence=0.9", **{"If-None-Match": tag})
    assert (same.status_code, same.content) == (304, b"")
    assert service.get(f"{path}?confidence=0.8").headers["etag"] != tag
    more = [{"lot_number": "FITS-2", "unit_serial": "9", "ending": "RUN_OUT", "cycles": 900}]
    service.upload(lives_table(more))
    after = service.get(f"{path}?confidence=0.9", **{"If-None-Match": tag})
    assert after.status_code == 200
    assert after.headers["etag"] != tag


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("", "MISSING_PARAMETER"),
        ("confidence=0.4", "INVALID_VALUE"),
        ("confidence=nan", "NOT_A_NUMBER"),
        ("confidence=0.9&at_cycles=nan", "INVALID_VALUE"),
        ("confidence=0.9&at_cycles=-5", "INVALID_VALUE"),
        ("confidence=0.9&fraction=0.1&fraction=1.5", "INVALID_VALUE"),
        ("confidence=0.9&distribution=GUMBEL", "INVALID_VALUE"),
        ("confidence=0.9&second_opinion=maybe", "INVALID_VALUE"),
        ("confidence=0.9&fractions=0.1", "UNKNOWN_PARAMETER"),
    ],
)
def test_a_wrong_parameter_of_a_lots_fits_is_refused(
    service: ServiceClient, lot_id: str, query: str, code: str
) -> None:
    refused = service.get(f"/v1/lots/{lot_id}/fits?{query}")
    problem(refused, 400, "invalid-request")
    assert codes(refused) == [code]


def test_fits_of_an_unknown_lot_are_not_found(service: ServiceClient) -> None:
    problem(service.get("/v1/lots/lot_x/fits?confidence=0.9"), 404, "not-found")


def test_reading_lots_is_enough_to_fit(service: ServiceClient) -> None:
    reader = service.with_scopes(["lots.read"])
    assert reader.post(FITS, asked(STOPS_SHORT)).status_code == 200
    problem(
        service.with_scopes(["results.write"]).post(FITS, asked(STOPS_SHORT)), 403, "not-allowed"
    )
