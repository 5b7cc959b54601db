"""
The uploaded cycle table and lives table, version 1, as plain data.

One row of the cycle table is one commanded cycle of one station. The unit of a
pressure column is the end of its name; values are stored in MPa.
"""

from typing import Literal

from msgspec import Struct

CYCLE_TABLE_VERSION = 1
ColumnKind = Literal["TEXT", "INTEGER", "NUMBER", "PRESSURE", "INSTANT"]


class Column(Struct, frozen=True, kw_only=True):
    """One column of an uploaded table: name without unit, kind, need, meaning."""

    name: str
    kind: ColumnKind
    needed: bool
    meaning: str


def _column(name: str, kind: ColumnKind, needed: bool, meaning: str) -> Column:
    return Column(name=name, kind=kind, needed=needed, meaning=meaning)


CYCLE_COLUMNS: tuple[Column, ...] = (
    _column("rig_id", "TEXT", True, "rig that ran the cycle"),
    _column("station_no", "INTEGER", True, "station of the rig"),
    _column("lot_number", "TEXT", True, "lot of the unit"),
    _column("unit_serial", "TEXT", True, "serial of the unit within its lot"),
    _column("run_id", "TEXT", True, "one uninterrupted start-to-stop, unique per rig"),
    _column("cycle_in_run", "INTEGER", True, "controller's counter, from 1 (0 only after a wrap)"),
    _column("started_at", "INSTANT", True, "start of the cycle, with zone"),
    _column("pressure_peak", "PRESSURE", True, "highest pressure of the cycle"),
    _column("pressure_dwell_start", "PRESSURE", False, "pressure after settling"),
    _column("pressure_dwell_end", "PRESSURE", False, "pressure before release"),
    _column("pressure_set", "PRESSURE", False, "commanded upper pressure"),
    _column("pressure_low", "PRESSURE", False, "trough between cycles"),
    _column("pressure_supply", "PRESSURE", False, "pressure at the manifold or accumulator"),
    _column("rise_time_s", "NUMBER", False, "rise time, seconds"),
    _column("dwell_time_s", "NUMBER", False, "time at upper pressure, seconds"),
    _column("rest_time_s", "NUMBER", False, "time at low pressure, seconds"),
    _column("fluid_temperature_c", "NUMBER", False, "fluid temperature, degrees Celsius"),
    _column("unit_temperature_c", "NUMBER", False, "unit temperature, degrees Celsius"),
    _column("station_mode", "TEXT", False, "TEST (default), WARM_UP, BLEED or COLD_CHECK"),
    _column("stop_reason", "TEXT", False, "raw rig code on the run's last row"),
    _column("sensor_id", "TEXT", False, "pressure transducer"),
    _column("calibration_id", "TEXT", False, "calibration of the transducer"),
    _column("station_cycle_total", "INTEGER", False, "odometer of the station"),
    _column("logged_every", "INTEGER", False, "1 (default), or k for declared thinning"),
)

LIFE_COLUMNS: tuple[Column, ...] = (
    _column("lot_number", "TEXT", True, "lot of the unit"),
    _column("unit_serial", "TEXT", True, "serial of the unit within its lot"),
    _column("ending", "TEXT", True, "FAILED, FAILED_BETWEEN, RUN_OUT, SUSPENDED or VOID"),
    _column("cycles", "INTEGER", True, "life, null exactly where ending is FAILED_BETWEEN"),
    _column("cycles_low", "INTEGER", False, "last count known good, FAILED_BETWEEN only"),
    _column("cycles_high", "INTEGER", False, "first count known failed, FAILED_BETWEEN only"),
    _column("failure_mode", "TEXT", False, "failure mode, where one is known"),
    _column("component_batch", "TEXT", False, "material or process sub-group"),
)

STATION_MODES = ("TEST", "WARM_UP", "BLEED", "COLD_CHECK")

PRESSURE_DIVISORS: dict[str, float] = {"mpa": 1.0, "bar": 10.0, "kpa": 1000.0}
"""Stored MPa = uploaded value / divisor: division keeps band edges such as 437 bar exact."""

MPA_PER_PSI = 0.006894757293168362
"""1 lbf/in2 in MPa, from the exact pound (0.45359237 kg), inch (25.4 mm), 9.80665 m/s2."""

PRESSURE_UNITS = ("mpa", "bar", "kpa", "psi")

OPTIONAL_MASK: dict[str, int] = {
    column.name: 1 << index for index, column in enumerate(CYCLE_COLUMNS) if not column.needed
}
"""Bit of each optional cycle column in an upload's `column_mask` (set = column present)."""
