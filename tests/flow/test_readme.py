"""README's worked lot, computed again from its own inputs and found in the running demo."""

import math
import re
from pathlib import Path
from typing import Any

import pytest
from posted import post_demo_lot
from service_client import running_service

from analysis.statistics.bounds import reliability_lower
from analysis.statistics.weibayes import (
    reaches_requirement,
    reliability_lower_from_target_lives,
    target_lives,
    target_lives_required,
)
from service.demo.bundle import write_bundle
from service.demo.lots import lot

_README = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
_WORKED = _README.partition("<!-- worked lot: begin -->")[2].partition("<!-- worked lot: end -->")[
    0
]
_FIGURE = re.compile(r"(\d+(?:\.\d+)?)")


def _row(step: str) -> str:
    """Figure column of a step of the worked lot."""
    (row,) = re.findall(rf"^\| {step} \| (.+?) \|", _WORKED, re.MULTILINE)
    return str(row)


def _number(step: str) -> float:
    (first, *_) = _FIGURE.findall(_row(step))
    return float(first)


def _said_down(value: float, digits: int) -> float:
    """As a page says a lower limit: never more than it is."""
    return math.floor(value * 10**digits) / 10**digits


def test_the_worked_figures_follow_from_their_inputs() -> None:
    required = target_lives_required(0.95, 0.90, allowed_failures=0)
    in_hand = target_lives([200_000] * 12, 100_000, shape=2.0)
    shown = reliability_lower_from_target_lives(in_hand, 0, confidence=0.90)
    beside = reliability_lower(12, 0, confidence=0.90)
    assert _number("needed") == round(required, 2)
    assert _number("in hand") == in_hand
    assert _number(r"shown") == _said_down(shown, 3)
    assert _number(r"beside it") == _said_down(beside, 3)
    assert reaches_requirement(in_hand, required) and _row("verdict") == "ACCEPT"


@pytest.fixture(scope="module")
def evaluation(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("worked")
    bundle = write_bundle(lot("L01"), folder / "L01", scale=0.05, said=lambda file: None)
    with running_service(folder / "data") as client:
        return dict(client.evaluation(post_demo_lot(client, bundle)))


def test_the_running_demo_says_what_the_readme_says(evaluation: dict[str, Any]) -> None:
    (requirement,) = evaluation["requirements"]
    view = requirement["variables"]
    assert evaluation["verdict"] == _row("verdict")
    assert round(view["target_lives_required"], 2) == _number("needed")
    assert view["target_lives_worst"] == pytest.approx(_number("in hand"), rel=1e-9)
    assert _said_down(view["reliability_lower_worst"], 3) == _number("shown")
    attribute = requirement["attribute_at_target"]
    assert _said_down(attribute["reliability_lower_of_decided"], 3) == _number("beside it")
