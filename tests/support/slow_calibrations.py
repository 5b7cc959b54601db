"""Cycles judged on true pressures, row by row: the referee of corrected stretches.

Written from the rule in words, over dict rows, with the slow reduction's reasons asked twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from slow_reduction import PRESSURES, every_reason

from schemas.stretches import NOT_COUNTED_REASONS

Row = dict[str, Any]


def true_row(row: Row, records: Sequence[Row], own_sensor: str | None) -> Row:
    """The row with true pressures, by the last record about its sensor and its start."""
    sensor = row["sensor_id"] or own_sensor
    for record in reversed(records):
        if record["sensor_id"] == sensor and _covers(record, row["started_at"]):
            offset, gain = record["offset_mpa"], record["gain"]
            true = {
                name: (row[name] - offset) / gain for name in PRESSURES if row[name] is not None
            }
            return {**row, **true}
    return row


def _covers(record: Row, instant: datetime) -> bool:
    return bool(record["from_at"] <= instant < record["to_at"])


def reasons_found_out(row: Row, true: Row, spec: Row, full_scale: float | None) -> list[str]:
    """
    Every reason of a cycle that was read as `row` and was `true`.

    No reading is told from the reading, all other reasons from the truth. What was short of
    pressure in truth only, or counted on its reading only, the calibration found out.
    """
    on_reading = set(every_reason(row, spec, full_scale))
    in_truth = set(every_reason(true, spec, None)) - {"NO_READING"}
    reasons = in_truth | (on_reading & {"NO_READING"})
    if "UNDER_PRESSURE" in in_truth - on_reading:
        reasons = reasons - {"UNDER_PRESSURE"} | {"CALIBRATION_FOUND_OUT"}
    elif in_truth and not on_reading:
        reasons |= {"CALIBRATION_FOUND_OUT"}
    return [reason for reason in NOT_COUNTED_REASONS if reason in reasons]


def slow_totals(
    rows: Sequence[Row], records: Sequence[Row], spec: Row, own_sensor: str | None
) -> Row:
    """Counts of some rows, by first and by every reason, on true pressures."""
    counted = 0
    first: dict[str, int] = {}
    every: dict[str, int] = {}
    over = 0
    for row in rows:
        true = true_row(row, records, own_sensor)
        reasons = reasons_found_out(row, true, spec, None)
        counted += not reasons
        for reason in reasons[:1]:
            first[reason] = first.get(reason, 0) + 1
        for reason in reasons:
            every[reason] = every.get(reason, 0) + 1
        over += true["pressure_peak_mpa"] > spec["conditions"]["pressure_invalidation_mpa"]
    return {
        "counted_cycles": counted,
        "not_counted_by": first,
        "not_counted_by_every": every,
        "invalidating_cycles": over,
    }
