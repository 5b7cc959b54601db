"""Parquet files of a lot, written as rigs write them: time by time, stations interleaved.

A run is made when its first row is due and dropped after its last one, so the
memory needed is a run per station and one row group, whatever the lot's size.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator, Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from msgspec import Struct, structs

from service.demo.facts import LotPlan, Reexport, RunPlan, UnitPlan
from service.demo.rows import Integers, RunRows, run_rows
from service.demo.scenario import PERIOD_US, RAW_CODES, SET_MPA, sensor_name

ROW_GROUP_ROWS = 122_880
_ROWS_PER_FILE = 400_000
_WINDOW_US = 10_000 * PERIOD_US
_STEPS_PER_MPA = 250.0
_TEXT = pa.dictionary(pa.int32(), pa.string())

CYCLE_SCHEMA = pa.schema(
    [
        ("rig_id", _TEXT),
        ("station_no", pa.int32()),
        ("lot_number", _TEXT),
        ("unit_serial", _TEXT),
        ("run_id", _TEXT),
        ("cycle_in_run", pa.int64()),
        ("started_at", pa.timestamp("us", tz="UTC")),
        ("pressure_set_mpa", pa.float64()),
        ("pressure_peak_mpa", pa.float64()),
        ("pressure_dwell_start_mpa", pa.float64()),
        ("pressure_dwell_end_mpa", pa.float64()),
        ("pressure_low_mpa", pa.float64()),
        ("pressure_supply_mpa", pa.float64()),
        ("rise_time_s", pa.float64()),
        ("dwell_time_s", pa.float64()),
        ("rest_time_s", pa.float64()),
        ("fluid_temperature_c", pa.float64()),
        ("station_mode", _TEXT),
        ("stop_reason", _TEXT),
        ("sensor_id", _TEXT),
        ("calibration_id", _TEXT),
        ("station_cycle_total", pa.int64()),
        ("logged_every", pa.int32()),
    ]
)
"""Columns of the cycle table that these rigs write."""

_NO_DICTIONARY = {"cycle_in_run", "started_at", "station_cycle_total"}


class WrittenFile(Struct, frozen=True, kw_only=True):
    """
    One file, in the order of sending.

    `kind` says what it is: NEW rows, a REPEAT of the same bytes, or a REEXPORT
    of rows of which some have other values.
    """

    name: str
    kind: str
    row_count: int
    duplicate_rows: int = 0
    conflicting_rows: int = 0


def write_lot_files(plan: LotPlan, folder: Path) -> Iterator[WrittenFile]:
    """
    Write a lot's files, a few per rig; each is told as soon as it is complete.

    Parameters
    ----------
    plan : LotPlan
        The timetable.
    folder : Path
        An existing folder; files of the same name are replaced.

    Yields
    ------
    WrittenFile
        In the order of sending: by part, then by rig, disturbed files last.
    """
    rig_ids = list(dict.fromkeys(unit.facts.rig_id for unit in plan.units))
    # Two parts of a rig: rows of a lot never come all at once, and every file takes its time.
    part_count = max(2, round(plan.row_count / len(rig_ids) / _ROWS_PER_FILE))
    for part_no in range(1, part_count + 1):
        for rig_id in rig_ids:
            units = [unit for unit in plan.units if unit.facts.rig_id == rig_id]
            edges = _part_edges(units, part_count)
            yield _write(
                plan,
                units,
                folder / f"{plan.facts.lot_number}_{rig_id}_{part_no}.parquet",
                (edges[part_no - 1], edges[part_no]),
            )
    yield from _disturbed_files(plan, folder)


def write_one_file(plan: LotPlan, path: Path) -> WrittenFile:
    """Write all rows of a lot, of whatever rigs, into one file."""
    edges = _part_edges(plan.units, 1)
    return _write(plan, plan.units, path, (edges[0], edges[1]))


def _part_edges(units: Sequence[UnitPlan], part_count: int) -> list[int]:
    """Instants that cut the rows of some units into parts of equal length of time."""
    runs = [run for unit in units for run in unit.runs]
    first = min(run.start_us for run in runs) - PERIOD_US
    last = max(run.start_us + run.row_count * PERIOD_US for run in runs) + PERIOD_US
    return [first + (last - first) * part // part_count for part in range(part_count + 1)]


def _write(
    plan: LotPlan, units: Sequence[UnitPlan], path: Path, span: tuple[int, int]
) -> WrittenFile:
    """Rows of some units within a span of time, into one file."""
    names = _Names(plan, units)
    row_count = 0
    with _writer(path) as writer:
        pending: list[pa.Table] = []
        pending_rows = 0
        for table in _tables(plan, units, names, span):
            pending.append(table)
            pending_rows += table.num_rows
            if pending_rows >= ROW_GROUP_ROWS:
                joined = pa.concat_tables(pending)
                whole = pending_rows // ROW_GROUP_ROWS * ROW_GROUP_ROWS
                writer.write_table(joined.slice(0, whole), row_group_size=ROW_GROUP_ROWS)
                pending, pending_rows = [joined.slice(whole)], pending_rows - whole
            row_count += table.num_rows
        if pending_rows:
            writer.write_table(pa.concat_tables(pending), row_group_size=ROW_GROUP_ROWS)
    return WrittenFile(name=path.name, kind="NEW", row_count=row_count)


def _writer(path: Path) -> pq.ParquetWriter:
    in_dictionary = [name for name in CYCLE_SCHEMA.names if name not in _NO_DICTIONARY]
    return pq.ParquetWriter(path, CYCLE_SCHEMA, compression="zstd", use_dictionary=in_dictionary)


def _tables(
    plan: LotPlan, units: Sequence[UnitPlan], names: _Names, span: tuple[int, int]
) -> Iterator[pa.Table]:
    """Rows of a span, window by window, every window in order of true time."""
    stations: dict[tuple[str, int], list[tuple[UnitPlan, RunPlan]]] = {}
    for unit in units:
        for run in unit.runs:
            stations.setdefault((unit.facts.rig_id, run.station_no), []).append((unit, run))
    sources = [_StationRows(plan, runs, span[0]) for runs in stations.values()]
    edges = [*range(span[0], span[1], _WINDOW_US), span[1]]
    for _, until_us in pairwise(edges):
        slices = [piece for source in sources for piece in source.take(until_us)]
        if slices:
            yield _table(slices, names)


class _Slice(Struct, frozen=True, kw_only=True):
    """Some consecutive rows of a run."""

    rows: RunRows
    first: int
    end: int


class _StationRows:
    """The rows of one station in time order; holds one run at a time."""

    def __init__(
        self, plan: LotPlan, runs: Sequence[tuple[UnitPlan, RunPlan]], from_us: int
    ) -> None:
        self._plan = plan
        in_order = sorted(runs, key=lambda pair: pair[1].start_us)
        self._waiting = [
            (unit, run)
            for unit, run in in_order
            if run.start_us + run.row_count * PERIOD_US >= from_us
        ]
        self._from_us = from_us
        self._rows: RunRows | None = None
        self._next = 0

    def take(self, until_us: int) -> Iterator[_Slice]:
        """Rows not yet taken whose true instant lies before `until_us`."""
        while self._rows is not None or self._begin(until_us):
            assert self._rows is not None
            end = int(np.searchsorted(self._rows.true_us, until_us))
            if end > self._next:
                yield _Slice(rows=self._rows, first=self._next, end=end)
            self._next = end
            if end < self._rows.true_us.size:
                return
            self._rows = None

    def _begin(self, until_us: int) -> bool:
        """Make the next run's rows if it starts in time; rows before the span are passed over."""
        if not self._waiting or self._waiting[0][1].start_us >= until_us + PERIOD_US:
            return False
        unit, run = self._waiting.pop(0)
        self._rows = run_rows(self._plan.facts, unit, run)
        self._next = int(np.searchsorted(self._rows.true_us, self._from_us))
        return True


class _Names:
    """The texts that a file's rows point to, each with its place in the file's dictionary."""

    def __init__(self, plan: LotPlan, units: Sequence[UnitPlan]) -> None:
        self.lot_number = plan.facts.lot_number
        self.rigs = list(dict.fromkeys(unit.facts.rig_id for unit in units))
        self.units = [unit.facts.unit_serial for unit in units]
        self.runs = list(dict.fromkeys(run.run_id for unit in units for run in unit.runs))
        self.sensors = list(
            dict.fromkeys(
                sensor_name(unit.facts.rig_id, run.station_no)
                for unit in units
                for run in unit.runs
            )
        )
        self.modes = ["TEST", "WARM_UP"]
        self.stops = sorted({code for rig in self.rigs for code in RAW_CODES[rig].values()})
        self.place = {
            kind: {name: number for number, name in enumerate(names)}
            for kind, names in (
                ("rig", self.rigs),
                ("unit", self.units),
                ("run", self.runs),
                ("sensor", self.sensors),
                ("stop", self.stops),
            )
        }


def _table(slices: Sequence[_Slice], names: _Names) -> pa.Table:
    """Rows of several stations as one Arrow table in order of true time."""
    order = np.argsort(_joined(slices, "true_us"), kind="stable")
    columns = _constants_of_slices(slices, names, order)
    columns |= _readings(slices, order)
    columns["station_mode"] = _texts(
        np.concatenate([s.rows.in_warm_up[s.first : s.end] for s in slices])[order], names.modes
    )
    columns["stop_reason"] = _stop_reasons(slices, names, order)
    return pa.Table.from_arrays(
        [columns[name].cast(CYCLE_SCHEMA.field(name).type) for name in CYCLE_SCHEMA.names],
        schema=CYCLE_SCHEMA,
    )


def _joined(slices: Sequence[_Slice], field: str) -> Integers:
    return np.concatenate([getattr(s.rows, field)[s.first : s.end] for s in slices])


def _texts(places: Integers, names: Sequence[str]) -> pa.Array:
    return pa.DictionaryArray.from_arrays(
        pa.array(np.asarray(places, dtype=np.int32)), pa.array(list(names), pa.string())
    )


def _constants_of_slices(
    slices: Sequence[_Slice], names: _Names, order: Integers
) -> dict[str, pa.Array]:
    """Columns that do not change within a run."""
    lengths = [s.end - s.first for s in slices]
    facts = [s.rows.unit.facts for s in slices]
    sensors = [sensor_name(s.rows.unit.facts.rig_id, s.rows.run.station_no) for s in slices]

    def spread(values: list[int]) -> Integers:
        return np.repeat(np.asarray(values, dtype=np.int64), lengths)[order]

    def places(kind: str, texts: list[str]) -> Integers:
        return spread([names.place[kind][text] for text in texts])

    sensor_places = places("sensor", sensors)
    return {
        "rig_id": _texts(places("rig", [unit.rig_id for unit in facts]), names.rigs),
        "station_no": pa.array(spread([s.rows.run.station_no for s in slices])),
        "lot_number": _texts(np.zeros(order.size, dtype=np.int64), [names.lot_number]),
        "unit_serial": _texts(places("unit", [unit.unit_serial for unit in facts]), names.units),
        "run_id": _texts(places("run", [s.rows.run.run_id for s in slices]), names.runs),
        "sensor_id": _texts(sensor_places, names.sensors),
        "calibration_id": _texts(sensor_places, [f"{name}-2025A" for name in names.sensors]),
        "logged_every": pa.array(np.ones(order.size, dtype=np.int64)),
    }


def _readings(slices: Sequence[_Slice], order: Integers) -> dict[str, pa.Array]:
    """Columns that change with every row."""

    def joined(field: str) -> Integers:
        return _joined(slices, field)[order]

    dwell_start = joined("dwell_start_steps")
    return {
        "cycle_in_run": pa.array(joined("cycle_in_run")),
        "started_at": pa.array(joined("started_us")),
        "pressure_set_mpa": pa.array(np.full(order.size, SET_MPA)),
        "pressure_peak_mpa": pa.array(joined("peak_steps") / _STEPS_PER_MPA),
        "pressure_dwell_start_mpa": pa.array(dwell_start / _STEPS_PER_MPA),
        "pressure_dwell_end_mpa": pa.array((dwell_start - joined("decay_steps")) / _STEPS_PER_MPA),
        "pressure_low_mpa": pa.array(joined("low_steps") / _STEPS_PER_MPA),
        "pressure_supply_mpa": pa.array(joined("supply_steps") / _STEPS_PER_MPA),
        "rise_time_s": pa.array(joined("rise_ms") / 1_000),
        "dwell_time_s": pa.array(joined("dwell_ms") / 1_000),
        "rest_time_s": pa.array(joined("rest_ms") / 1_000),
        "fluid_temperature_c": pa.array(joined("temperature_tenths") / 10),
        "station_cycle_total": pa.array(joined("odometer")),
    }


def _stop_reasons(slices: Sequence[_Slice], names: _Names, order: Integers) -> pa.Array:
    """The rig's raw code on the last row of a run that has stopped, nothing elsewhere."""
    places = np.zeros(order.size, dtype=np.int64)
    stopped = np.zeros(order.size, dtype=np.bool_)
    position = 0
    for s in slices:
        position += s.end - s.first
        purpose = s.rows.run.stop_purpose
        if purpose is not None and s.end == s.rows.true_us.size:
            code = RAW_CODES[s.rows.unit.facts.rig_id][purpose]
            places[position - 1] = names.place["stop"][code]
            stopped[position - 1] = True
    indices = pa.array(places[order].astype(np.int32), mask=~stopped[order])
    return pa.DictionaryArray.from_arrays(indices, pa.array(names.stops, pa.string()))


def _disturbed_files(plan: LotPlan, folder: Path) -> Iterator[WrittenFile]:
    """Files that are sent again, unchanged or with other values."""
    number = plan.facts.lot_number
    for repeat in plan.facts.repeats:
        original = folder / f"{number}_{repeat.rig_id}_{repeat.part_no}.parquet"
        copy = folder / f"{number}_{repeat.rig_id}_{repeat.part_no}_again.parquet"
        shutil.copyfile(original, copy)
        row_count = pq.ParquetFile(copy).metadata.num_rows
        yield WrittenFile(
            name=copy.name, kind="REPEAT", row_count=row_count, duplicate_rows=row_count
        )
    for place, reexport in enumerate(plan.facts.reexports, start=1):
        yield _write_reexport(plan, reexport, folder / f"{number}_reexport_{place}.parquet")


def _write_reexport(plan: LotPlan, reexport: Reexport, path: Path) -> WrittenFile:
    """Some rows of a run once more; a few that count have another peak and still count."""
    unit = plan.units[reexport.unit_no - 1]
    rows = run_rows(plan.facts, unit, unit.runs[reexport.run_no - 1])
    first = min(reexport.first_row, rows.true_us.size // 4)
    end = min(first + reexport.row_count, rows.true_us.size)
    place = np.arange(rows.true_us.size)
    changed = rows.counts & (place >= first) & (place < end)
    changed &= (place - first) % reexport.changed_every == 0
    # Towards the middle of the band, so that the changed rows count as before.
    middle = round(SET_MPA * _STEPS_PER_MPA)
    step = np.where(rows.peak_steps > middle, -3, 3)
    other = structs.replace(
        rows, peak_steps=np.where(changed, rows.peak_steps + step, rows.peak_steps)
    )
    with _writer(path) as writer:
        table = _table([_Slice(rows=other, first=first, end=end)], _Names(plan, [unit]))
        writer.write_table(table, row_group_size=ROW_GROUP_ROWS)
    conflicting = int(changed.sum())
    return WrittenFile(
        name=path.name,
        kind="REEXPORT",
        row_count=end - first,
        duplicate_rows=end - first - conflicting,
        conflicting_rows=conflicting,
    )
