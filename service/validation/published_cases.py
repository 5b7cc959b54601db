"""Every published case that the copy carries, asked of the mathematics beside it."""

from __future__ import annotations

from importlib import resources
from typing import Any

import msgspec

from service.validation.published_methods import METHODS, Values
from service.validation.step_report import Compared, said_of

CASES_FILE = "cases.json"


def shipped_cases() -> list[Values]:
    """The cases in the order of the file: inputs, expected values, tolerances, source."""
    text = (resources.files("service.validation") / CASES_FILE).read_bytes()
    return msgspec.json.decode(text, type=list[dict[str, Any]])


def compare_cases() -> Compared:
    """Ask every case; a difference names the case and the value."""
    cases = shipped_cases()
    found = [_difference_of(case) for case in cases]
    return Compared(count=len(cases), differences=[each for each in found if each is not None])


def difference(actual: Any, expected: Any, case: Values, path: str = "") -> str | None:
    """
    The first value of an answer that is not within the case's tolerance, in words.

    Parameters
    ----------
    actual, expected : values of JSON
    case : dict
        Its ``tolerance`` lists paths; the longest listed prefix of a path counts.
    path : str, optional
        Where in the answer these stand; parts joined by points.

    Notes
    -----
    Numbers with a point are compared within ``max(rel * |expected|, abs)``, all else,
    whole numbers included, must be equal and of the same kind.

    Examples
    --------
    >>> case = {"tolerance": {"default": {"abs": 0.5}, "n.0": {"rel": 0.1}}}
    >>> difference({"n": [10.9], "m": 1}, {"n": [10.0], "m": 1}, case)
    >>> difference({"n": [11.2], "m": 1}, {"n": [10.0], "m": 1}, case)
    'n.0: 11.2 is not 10.0'
    """
    if isinstance(expected, dict):
        if not isinstance(actual, dict) or actual.keys() != expected.keys():
            return f"{path}: other names than {sorted(expected)}"
        return _first(actual, expected, case, [(f"{path}.{key}", key) for key in expected])
    if isinstance(expected, list):
        if len(actual) != len(expected):
            return f"{path}: {len(actual)} values, not {len(expected)}"
        return _first(actual, expected, case, [(f"{path}.{no}", no) for no in range(len(expected))])
    if isinstance(expected, float):
        # Written so that an answer that is no number differs.
        is_same = abs(actual - expected) <= _allowed(case, path, expected)
    else:
        is_same = actual == expected and isinstance(actual, type(expected))
    return None if is_same else f"{path}: {actual!r} is not {expected!r}"


def _first(actual: Any, expected: Any, case: Values, places: list[tuple[str, Any]]) -> str | None:
    for path, key in places:
        found = difference(actual[key], expected[key], case, path.lstrip("."))
        if found is not None:
            return found
    return None


def _allowed(case: Values, path: str, expected: float) -> float:
    listed = case["tolerance"]
    parts = path.split(".")
    prefixes = [".".join(parts[:length]) for length in range(len(parts), 0, -1)]
    tolerance = next((listed[name] for name in prefixes if name in listed), None)
    if tolerance is None:
        tolerance = listed.get("default", {})
    return float(max(tolerance.get("rel", 0.0) * abs(expected), tolerance.get("abs", 0.0)))


def _difference_of(case: Values) -> str | None:
    method = METHODS.get(case["method"])
    if method is None:
        return f"case {case['id']}: there is no method {case['method']}"
    try:
        actual = method(case["inputs"])
        found = difference(actual, case["expected"], case) or _printed_difference(actual, case)
    except Exception as error:  # An error is this case's difference; the others are still asked.
        return f"case {case['id']}: {said_of(error)}"
    return None if found is None else f"case {case['id']} {found}"


def _printed_difference(actual: Any, case: Values) -> str | None:
    """The first value whose printed digits are others."""
    for path, printed in case.get("published", {}).items():
        value = actual
        for part in path.split("."):
            value = value[int(part) if isinstance(value, list) else part]
        digits = len(str(printed).partition(".")[2])
        if round(value, digits) != printed:
            return f"{path}: {value!r} is not {printed!r} to the digits printed"
    return None
