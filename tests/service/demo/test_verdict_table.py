"""The table shows each lot and says where an answer differs from the truth."""

from typing import Any

import msgspec
import pytest

from service.demo.client import EvaluationSeen
from service.demo.lots import DEMO_LOTS, lot
from service.demo.verdict_table import LotSeen, differences, verdict_table


def seen(number: str, evaluation: dict[str, Any]) -> LotSeen:
    return LotSeen(
        facts=lot(number),
        evaluation=msgspec.convert(evaluation, EvaluationSeen),
    )


def test_right_answers_make_a_table_without_differences(
    right_evaluations: dict[str, dict[str, Any]],
) -> None:
    table = verdict_table([seen(n, right_evaluations[n]) for n in DEMO_LOTS])
    lines = table.splitlines()
    assert len(lines) == 2 + 6
    assert lines[2].split()[:2] == ["L01", "ACCEPT"]
    assert "0.953" in lines[2] and "48.00 of 44.89" in lines[2] and lines[2].endswith("yes")
    assert "robust to CONFLICTING_ROWS" in lines[6]
    assert "NO" not in [line.split()[-1] for line in lines]


@pytest.mark.parametrize(
    ("number", "change", "said"),
    [
        ("L01", {"verdict": "HOLD"}, "verdict HOLD, not ACCEPT"),
        ("L03", {"kind": "NOT_DEMONSTRATED"}, "kind NOT_DEMONSTRATED"),
        ("L06", {"holds": []}, "open holds"),
        ("L01", {"requirements": []}, "limit None, not 0.953"),
    ],
)
def test_a_wrong_answer_is_named(
    number: str,
    change: dict[str, Any],
    said: str,
    right_evaluations: dict[str, dict[str, Any]],
) -> None:
    wrong = seen(number, right_evaluations[number] | change)
    assert any(said in difference for difference in differences(wrong))
    assert f"{number}: " in verdict_table([wrong])


def test_a_kind_that_hangs_on_the_third_digit_is_not_compared(
    right_evaluations: dict[str, dict[str, Any]],
) -> None:
    for kind in ("NOT_DEMONSTRATED", "SHOWN_BELOW_REQUIREMENT"):
        assert differences(seen("L04", right_evaluations["L04"] | {"kind": kind})) == []
