"""Every published or twice-computed case, within its own tolerance; sources stand in cases.json."""

import importlib.util
import json
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from product_source import ROOT

_HERE = Path(__file__).parent
CASES = json.loads((ROOT / "service" / "validation" / "cases.json").read_text(encoding="utf-8"))


def load_adapter() -> ModuleType:
    """Load by path: the tests are no package, so that they cannot hide the product's own."""
    spec = importlib.util.spec_from_file_location("published_adapter", _HERE / "adapter.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


METHODS = load_adapter().METHODS
ANSWERED = [case for case in CASES if case["method"] in METHODS]


def tolerance_of(case: dict[str, Any], path: str) -> dict[str, float]:
    """The tolerance of the longest listed prefix of a value's path, else the default one."""
    parts = path.split(".")
    for length in range(len(parts), 0, -1):
        listed: dict[str, float] | None = case["tolerance"].get(".".join(parts[:length]))
        if listed is not None:
            return listed
    default: dict[str, float] = case["tolerance"].get("default", {})
    return default


def assert_within(actual: Any, expected: Any, case: dict[str, Any], path: str) -> None:
    where = f"{case['id']} {path}"
    if isinstance(expected, dict):
        assert actual.keys() == expected.keys(), where
        for key, value in expected.items():
            assert_within(actual[key], value, case, f"{path}.{key}".lstrip("."))
    elif isinstance(expected, list):
        assert len(actual) == len(expected), where
        for index, value in enumerate(expected):
            assert_within(actual[index], value, case, f"{path}.{index}")
    elif expected is None or isinstance(expected, bool | int | str):
        assert actual == expected and isinstance(actual, type(expected)), where
    else:
        tolerance = tolerance_of(case, path)
        allowed = max(tolerance.get("rel", 0.0) * abs(expected), tolerance.get("abs", 0.0))
        assert abs(actual - expected) <= allowed, f"{where}: {actual!r} is not {expected!r}"


def value_at(answer: Any, path: str) -> Any:
    """The value at a path such as ``rows.0.survival``."""
    for part in path.split("."):
        answer = answer[int(part) if isinstance(answer, list) else part]
    return answer


@pytest.mark.parametrize("case", ANSWERED, ids=lambda case: case["id"])
def test_a_published_case_is_met_within_its_tolerance(case: dict[str, Any]) -> None:
    actual = METHODS[case["method"]](case["inputs"])
    assert_within(actual, case["expected"], case, "")


@pytest.mark.parametrize(
    "case", [case for case in ANSWERED if "published" in case], ids=lambda case: case["id"]
)
def test_a_printed_number_is_met_to_its_last_digit(case: dict[str, Any]) -> None:
    actual = METHODS[case["method"]](case["inputs"])
    for key, printed in case["published"].items():
        digits = len(str(printed).partition(".")[2])
        assert round(value_at(actual, key), digits) == printed


def test_each_case_names_its_source() -> None:
    for case in CASES:
        assert case["source"]["citation"] and case["source"]["verified"], case["id"]


def test_no_case_and_no_method_is_left_over() -> None:
    assert {case["method"] for case in CASES} == set(METHODS)
