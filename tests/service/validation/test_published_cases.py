"""The copy's own cases are compared as the tests of published cases compare them."""

import math
from typing import Any

import pytest

from analysis.statistics import success_run
from service.validation import published_cases, published_methods
from service.validation.published_cases import compare_cases, difference, shipped_cases

CASE: dict[str, Any] = {"tolerance": {"default": {"rel": 1e-6}, "rows.1": {"abs": 0.5}}}


def test_every_case_is_asked_and_met() -> None:
    compared = compare_cases()
    assert compared.differences == []
    assert compared.count == len(shipped_cases()) >= 134


def test_no_topic_hides_a_method_of_another() -> None:
    topics = published_methods._TOPICS
    assert sum(len(topic.METHODS) for topic in topics) == len(published_methods.METHODS)


@pytest.mark.parametrize(
    ("actual", "expected"),
    [
        ({"a": 1.0}, {"b": 1.0}),
        ([1.0], {"b": 1.0}),
        ([1.0], [1.0, 2.0]),
        (1.00001, 1.0),
        (math.nan, 1.0),
        (math.inf, 1.0),
        (1.0, 1),
        (1, True),
        ("a", "b"),
        (0.0, None),
    ],
)
def test_another_value_name_number_or_kind_is_a_difference(actual: Any, expected: Any) -> None:
    assert difference(actual, expected, CASE) is not None


def test_the_longest_listed_place_gives_the_tolerance() -> None:
    said = {"rows": [1.0, 10.0]}
    assert difference({"rows": [1.0, 10.4]}, said, CASE) is None
    assert difference({"rows": [1.4, 10.0]}, said, CASE) == "rows.0: 1.4 is not 1.0"


def _only(case: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> list[str]:
    monkeypatch.setattr(published_cases, "shipped_cases", lambda: [case])
    return compare_cases().differences


def test_a_wrong_method_names_the_case_and_the_value(monkeypatch: pytest.MonkeyPatch) -> None:
    case = next(case for case in shipped_cases() if case["id"] == "P-a_success_run-001")
    wrong = {**case["expected"], "n": 23}
    monkeypatch.setitem(published_cases.METHODS, case["method"], lambda inputs: wrong)
    assert _only(case, monkeypatch) == ["case P-a_success_run-001 n: 23 is not 22"]


def test_printed_digits_are_compared_too(monkeypatch: pytest.MonkeyPatch) -> None:
    case = {
        "id": "X-1",
        "method": "x",
        "inputs": {},
        "expected": {"r": [0.9531]},
        "tolerance": {"default": {"abs": 0.1}},
        "published": {"r.0": 0.95},
    }
    monkeypatch.setitem(published_cases.METHODS, "x", lambda inputs: {"r": [0.9531]})
    assert _only(case, monkeypatch) == []
    monkeypatch.setitem(published_cases.METHODS, "x", lambda inputs: {"r": [0.9431]})
    [said] = _only(case, monkeypatch)
    assert said == "case X-1 r.0: 0.9431 is not 0.95 to the digits printed"


def test_an_error_and_a_missing_method_are_differences_of_their_case(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    case = {"id": "X-2", "method": "none", "inputs": {}, "expected": {}, "tolerance": {}}
    assert _only(case, monkeypatch) == ["case X-2: there is no method none"]

    def broken(inputs: object) -> dict[str, Any]:
        raise ZeroDivisionError("no units")

    monkeypatch.setitem(published_cases.METHODS, "none", broken)
    assert _only(case, monkeypatch) == ["case X-2: ZeroDivisionError: no units"]


def test_the_mathematics_beside_the_cases_is_what_is_asked() -> None:
    assert published_methods.answers_demonstrations.success_run_plan is success_run.success_run_plan
