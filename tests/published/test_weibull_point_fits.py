"""Point values of published Weibull fits, brackets of inspections included."""

import importlib.util
import json
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

_HERE = Path(__file__).parent
CASES = [
    case
    for case in json.loads((_HERE / "cases.json").read_text(encoding="utf-8"))
    if case["method"] == "mle.weibull2_or_lognormal" and case["inputs"]["distribution"] == "weibull"
]


def load_answers() -> ModuleType:
    path = _HERE / "answers_life_fits.py"
    spec = importlib.util.spec_from_file_location("published_life_fits", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"])
def test_scale_shape_and_likelihood_agree_with_two_calculations(case: dict[str, Any]) -> None:
    """Tighter than the case asks (1e-5): its value was found twice, to 1e-9 or better."""
    actual = load_answers().weibull_point_fit(case["inputs"])
    for key in ("eta", "beta", "loglik"):
        assert actual[key] == pytest.approx(case["expected"][key], rel=1e-9), key


def test_the_weibull_cases_are_all_there() -> None:
    assert len(CASES) == 9
