"""The demo's last word: what the service says of each lot, beside what is true."""

from __future__ import annotations

import math
from collections.abc import Sequence

from msgspec import UNSET, Struct

from service.demo.client import EvaluationSeen
from service.demo.facts import LotFacts

_HEADINGS = ("lot", "verdict", "kind", "reasons", "R at least", "target lives", "right")
_THREE_DIGITS = 5e-4


class LotSeen(Struct, frozen=True, kw_only=True):
    """
    A lot's truth and the service's answer to it.

    `before` is the answer before its last records, where these change the verdict.
    """

    facts: LotFacts
    evaluation: EvaluationSeen
    before: EvaluationSeen | None = None


def differences(seen: LotSeen) -> list[str]:
    """
    Where an answer differs from the truth, in words; empty where it is right.

    Only what the truth states is compared: the verdict always, its kind, the
    limit and the open holds where they are given.
    """
    truth, answer = seen.facts.right_answer, seen.evaluation
    found = []
    if answer.verdict != truth.verdict:
        found.append(f"verdict {answer.verdict}, not {truth.verdict}")
    verdict_before = seen.before.verdict if seen.before else None
    if truth.verdict_before is not None and verdict_before != truth.verdict_before:
        found.append(f"verdict {verdict_before} before, not {truth.verdict_before}")
    kind = None if answer.kind is UNSET else answer.kind
    if truth.kind is not None and kind != truth.kind:
        found.append(f"kind {kind}, not {truth.kind}")
    limit = answer.variables.reliability_lower_worst if answer.variables else None
    wanted = truth.reliability_lower
    if wanted is not None and (limit is None or abs(limit - wanted) > _THREE_DIGITS):
        found.append(f"limit {limit}, not {wanted}")
    holds = sorted({hold.name for hold in answer.holds})
    if truth.open_holds is not None and holds != sorted(truth.open_holds):
        found.append(f"open holds {holds}, not {sorted(truth.open_holds)}")
    return found


def verdict_table(seen: Sequence[LotSeen]) -> str:
    """All lots as a table for a terminal, one line each, and a line for each difference."""
    lines = [_HEADINGS, *(_line(lot) for lot in seen)]
    widths = [max(len(line[column]) for line in lines) for column in range(len(_HEADINGS))]
    table = ["  ".join(map(str.ljust, line, widths)).rstrip() for line in lines]
    table.insert(1, "  ".join("-" * width for width in widths))
    wrong = [
        f"{lot.facts.lot_number}: {difference}" for lot in seen for difference in differences(lot)
    ]
    return "\n".join(table + _before(seen) + wrong)


def _before(seen: Sequence[LotSeen]) -> list[str]:
    """What was said of lots before a sensor was found out."""
    lines = []
    for lot in seen:
        if lot.before is None:
            continue
        found_out = ", ".join(
            f"station {error.station_no} of {error.rig_id}" for error in lot.facts.sensor_errors
        )
        view = lot.before.variables
        limit = f" ({_rounded_down(view.reliability_lower_worst):.3f})" if view else ""
        lines.append(
            f"{lot.facts.lot_number} was {lot.before.verdict}{limit} "
            f"before the calibration record of {found_out}."
        )
    return ["", *lines] if lines else []


def _line(seen: LotSeen) -> tuple[str, ...]:
    answer = seen.evaluation
    held = ", ".join(sorted({hold.name for hold in answer.holds}))
    reasons = ", ".join(reason.code for reason in answer.reasons)
    if held and answer.robust_to_open_holds:
        reasons = f"{reasons} robust to {held}".strip()
    view = answer.variables
    return (
        seen.facts.lot_number,
        answer.verdict,
        "" if answer.kind is UNSET else answer.kind,
        reasons,
        f"{_rounded_down(view.reliability_lower_worst):.3f}" if view else "",
        f"{view.target_lives_worst:.2f} of {view.target_lives_required:.2f}" if view else "",
        "yes" if not differences(seen) else "NO",
    )


def _rounded_down(reliability: float) -> float:
    """To three digits, never up: a limit must not look better than it is."""
    return math.floor(reliability * 1000) / 1000
