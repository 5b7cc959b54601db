"""Raw rows of one unit in the order in which its cycles started, a page at a time."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Any

from schemas.unit_rows import LoggedCycle, PlacedCycle, RowPlace, StartRange
from service.storage.store import Cursor

_STRETCHES = "SELECT stretch_key FROM stretch_bases WHERE unit_key = $unit_key"
_VALUES = """
    cycle_in_run, started_at, pressure_peak_mpa, pressure_dwell_start_mpa,
    pressure_dwell_end_mpa, pressure_set_mpa, pressure_low_mpa, pressure_supply_mpa,
    rise_time_s, dwell_time_s, rest_time_s, fluid_temperature_c, unit_temperature_c,
    station_cycle_total, logged_every, stretch_key, upload_key, station_mode_key,
    stop_reason_key, sensor_key, calibration_key
"""
# The range of keys lets the storage skip blocks of other units; the list then decides.
_WHERE = """
    stretch_key BETWEEN $first_key AND $last_key
    AND stretch_key IN (SELECT unnest($keys::INTEGER[]))
    AND started_at >= make_timestamp($from_us::BIGINT)
    AND started_at < make_timestamp($to_us::BIGINT)
    AND started_at >= make_timestamp($after_us::BIGINT)
"""
_ROWS = f"""
WITH stored AS (
    SELECT {_VALUES}, 0 AS is_second FROM cycle_rows WHERE {_WHERE}
    UNION ALL
    SELECT {_VALUES}, 1 AS is_second FROM conflicting_rows WHERE {_WHERE}
), page AS (
    SELECT *
    FROM stored
    WHERE (epoch_us(started_at), stretch_key, cycle_in_run, is_second, upload_key)
        > ($after_us, $after_stretch, $after_cycle, $after_second, $after_upload)
    ORDER BY started_at, stretch_key, cycle_in_run, is_second, upload_key
    LIMIT $limit
)
SELECT
    p.upload_id, b.rig_id, b.station_no, b.run_id, r.cycle_in_run,
    epoch_us(r.started_at) AS started_us, r.pressure_peak_mpa, r.pressure_dwell_start_mpa,
    r.pressure_dwell_end_mpa, r.pressure_set_mpa, r.pressure_low_mpa, r.pressure_supply_mpa,
    r.rise_time_s, r.dwell_time_s, r.rest_time_s, r.fluid_temperature_c, r.unit_temperature_c,
    m.text AS station_mode, s.text AS stop_reason, n.text AS sensor_id,
    c.text AS calibration_id, r.station_cycle_total, r.logged_every, r.is_second,
    r.stretch_key, r.upload_key
FROM page AS r
JOIN uploads AS p ON p.upload_key = r.upload_key
JOIN stretch_bases AS b ON b.stretch_key = r.stretch_key
LEFT JOIN texts AS m ON m.text_key = r.station_mode_key
LEFT JOIN texts AS s ON s.text_key = r.stop_reason_key
LEFT JOIN texts AS n ON n.text_key = r.sensor_key
LEFT JOIN texts AS c ON c.text_key = r.calibration_key
ORDER BY r.started_at, r.stretch_key, r.cycle_in_run, r.is_second, r.upload_key
"""
_LAST_MICROSECOND = 253_402_300_799_999_999  # end of the year 9999


def rows_of_unit(
    db: Cursor, unit_key: int, started: StartRange, *, after: RowPlace, limit: int
) -> list[PlacedCycle]:
    """
    Up to `limit` rows of a unit after a place, conflicting ones included.

    Returns
    -------
    list of PlacedCycle
        By start, then stretch and counter.
    """
    keys = [int(row[0]) for row in db.execute(_STRETCHES, {"unit_key": unit_key}).fetchall()]
    if not keys:
        return []
    after_us, stretch, cycle, is_second, upload = after
    values = {
        "keys": keys,
        "first_key": min(keys),
        "last_key": max(keys),
        "from_us": -_LAST_MICROSECOND if started.from_at is None else _us(started.from_at),
        "to_us": _LAST_MICROSECOND if started.to_at is None else _us(started.to_at),
        "after_us": max(after_us, -_LAST_MICROSECOND),
        "after_stretch": stretch,
        "after_cycle": cycle,
        "after_second": is_second,
        "after_upload": upload,
        "limit": limit,
    }
    found = db.execute(_ROWS, values)
    names = [column[0] for column in found.description]
    return [_placed(dict(zip(names, row, strict=True))) for row in found.fetchall()]


def _us(instant: datetime) -> int:
    """Whole microseconds since 1970, exact."""
    since = instant.astimezone(UTC) - datetime(1970, 1, 1, tzinfo=UTC)
    return (since.days * 86_400 + since.seconds) * 1_000_000 + since.microseconds


def _placed(values: dict[str, Any]) -> PlacedCycle:
    started_us, is_second = values.pop("started_us"), values.pop("is_second")
    stretch, upload = values.pop("stretch_key"), values.pop("upload_key")
    recorded = {name: value for name, value in values.items() if _is_recorded(value)}
    seconds, microseconds = divmod(started_us, 1_000_000)
    started_at = datetime.fromtimestamp(seconds, UTC).replace(microsecond=microseconds)
    return PlacedCycle(
        place=(started_us, stretch, values["cycle_in_run"], is_second, upload),
        cycle=LoggedCycle(started_at=started_at, conflicting=bool(is_second), **recorded),
    )


def _is_recorded(value: object) -> bool:
    return value is not None and not (isinstance(value, float) and math.isnan(value))
