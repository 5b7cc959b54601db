"""The table shows each lot and says where an answer differs from the truth."""

from typing import Any

import msgspec
import pytest
from msgspec import structs

from service.demo.client import EvaluationSeen
from service.demo.lots import DEMO_LOTS, lot
from service.demo.verdict_table import LotSeen, differences, verdict_table

BEFORE: dict[str, Any] = {
    "verdict": "ACCEPT",
    "reasons": [],
    "robust_to_open_holds": True,
    "requirements": [
        {
            "variables": {
                "reliability_lower_worst": 0.9532,
                "target_lives_worst": 48.0,
                "target_lives_required": 44.89,
            }
        }
    ],
}


def seen(number: str, evaluation: dict[str, Any]) -> LotSeen:
    said_before = lot(number).right_answer.verdict_before
    before = BEFORE | {"verdict": said_before}
    return LotSeen(
        facts=lot(number),
        evaluation=msgspec.convert(evaluation, EvaluationSeen),
        before=msgspec.convert(before, EvaluationSeen) if said_before else None,
    )


def test_right_answers_make_a_table_without_differences(
    right_evaluations: dict[str, dict[str, Any]],
) -> None:
    table = verdict_table([seen(n, right_evaluations[n]) for n in DEMO_LOTS])
    lines = table.splitlines()
    assert len(lines) == 2 + 8 + 2
    assert lines[2].split()[:2] == ["L01", "ACCEPT"]
    assert "0.953" in lines[2] and "48.00 of 44.89" in lines[2] and lines[2].endswith("yes")
    assert "robust to CONFLICTING_ROWS" in lines[7]
    assert lines[6].split()[:2] == ["L05", "HOLD"]
    assert lines[-1] == (
        "L05 was ACCEPT (0.953) before the calibration record of station 4 of RIG-B."
    )
    assert "NO" not in [line.split()[-1] for line in lines if line]


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


def test_a_verdict_that_was_wrong_before_the_last_record_is_named(
    right_evaluations: dict[str, dict[str, Any]],
) -> None:
    after = seen("L05", right_evaluations["L05"])
    assert differences(after) == []
    told_late = structs.replace(after, before=after.evaluation)
    assert differences(told_late) == ["verdict HOLD before, not ACCEPT"]


def test_a_kind_that_hangs_on_the_third_digit_is_not_compared(
    right_evaluations: dict[str, dict[str, Any]],
) -> None:
    for kind in ("NOT_DEMONSTRATED", "SHOWN_BELOW_REQUIREMENT"):
        assert differences(seen("L04", right_evaluations["L04"] | {"kind": kind})) == []
