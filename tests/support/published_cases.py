"""Published cases as bodies of requests, so that the service answers what the mathematics must."""

from __future__ import annotations

import json
from typing import Any

from product_source import ROOT

_CASES = ROOT / "service" / "validation" / "cases.json"


def published_case(case_id: str) -> dict[str, Any]:
    """One case with its inputs, expected values and source."""
    cases: list[dict[str, Any]] = json.loads(_CASES.read_text("utf-8"))
    return next(case for case in cases if case["id"] == case_id)


def sent_lives(data: dict[str, Any]) -> list[dict[str, Any]]:
    """Lives of a case as a request carries them; status 1 is a failure."""
    return [
        {"ending": "FAILED" if status else "RUN_OUT", "cycles": cycles}
        for cycles, status in zip(data["time"], data["status"], strict=True)
    ]


def lot_lives(lot_number: str, data: dict[str, Any]) -> list[dict[str, Any]]:
    """Lives of a case as rows of a lives table."""
    return [
        {"lot_number": lot_number, "unit_serial": f"{number:03}", **life}
        for number, life in enumerate(sent_lives(data), start=1)
    ]


def one_sided(two_sided_confidence: float) -> float:
    """Confidence of each limit alone, of a pair that holds with `two_sided_confidence`."""
    return (1.0 + two_sided_confidence) / 2.0
