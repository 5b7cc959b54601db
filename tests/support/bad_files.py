"""Every kind of body that must be refused, with the code and the column it must be told by."""

from __future__ import annotations

import random
import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

import numpy as np
import pyarrow as pa
from parquet_files import (
    NEEDED,
    START,
    cycle_columns,
    encrypted_bytes,
    footer_of,
    life_columns,
    parquet_bytes,
    replaced,
    table_bytes,
    with_stated_values,
    without,
)


@dataclass(frozen=True)
class BadFile:
    """A body that must be refused: how to make it, the code, the column where there is one."""

    make: Callable[[], bytes]
    code: str
    column: str | None = None
    limits: dict[str, int] = field(default_factory=dict)
    risky: bool = False


def _good() -> bytes:
    return parquet_bytes(cycle_columns())


def _changed(name: str, values: Any, **more: Any) -> Callable[[], bytes]:
    return lambda: parquet_bytes(cycle_columns(**{name: values, **more}))


def _renamed(old: str, new: str) -> Callable[[], bytes]:
    def make() -> bytes:
        columns = cycle_columns()
        return parquet_bytes({(new if name == old else name): v for name, v in columns.items()})

    return make


def _twice(second: str) -> Callable[[], bytes]:
    def make() -> bytes:
        table = pa.table(cycle_columns())
        return table_bytes(table.append_column(second, table["rig_id"]))

    return make


def _damaged_footer() -> bytes:
    file = _good()
    return file[: -8 - len(footer_of(file))] + bytes(len(footer_of(file))) + file[-8:]


def _damaged_page() -> bytes:
    # Not with zstd: damage inside one of its blocks gives other numbers and no error, which only
    # the sender's digest can tell.
    noise = random.Random(5)
    peaks = pa.array([noise.random() for _ in range(20_000)])
    file = bytearray(
        parquet_bytes(
            cycle_columns(20_000, pressure_peak_bar=peaks), compression="gzip", use_dictionary=False
        )
    )
    middle = len(file) // 2
    file[middle : middle + 400] = b"\xff" * 400
    return bytes(file)


def _lying_counter() -> bytes:
    """Zeros and below in the counter, which the file's own statistics deny."""
    counter = pa.array([*range(1, 19), -77_777, 777_777])
    file = parquet_bytes(cycle_columns(cycle_in_run=counter), use_dictionary=False)
    return with_stated_values(file, {struct.pack("<q", -77_777): struct.pack("<q", 1)})


def _dictionary_bomb() -> bytes:
    row_count = 2_000_000
    indices = pa.array(np.zeros(row_count, np.int32))
    texts = pa.DictionaryArray.from_arrays(indices, pa.array(["x" * 1_000_000]))
    columns = cycle_columns(20)
    wide = {
        name: pa.array(values.to_numpy(zero_copy_only=False).repeat(row_count // 20))
        for name, values in columns.items()
        if name not in ("started_at", "rig_id")
    }
    wide["started_at"] = pa.array(
        np.arange(row_count, dtype=np.int64) + 1_772_430_000_000_000, pa.timestamp("us", tz="UTC")
    )
    wide["rig_id"] = texts
    return parquet_bytes(wide, compression="zstd")


def _ratio_bomb() -> bytes:
    text = pa.array(["x" * 30_000_000], pa.large_string())
    return parquet_bytes(cycle_columns(1, rig_id=text), compression="zstd", use_dictionary=False)


def _many_columns() -> bytes:
    extra = {f"x_{number}": pa.array([number] * 2) for number in range(3_000)}
    return parquet_bytes({**cycle_columns(2), **extra})


_TIMES = cycle_columns()["started_at"]
_COUNTER = cycle_columns()["cycle_in_run"]
_PEAKS = cycle_columns()["pressure_peak_bar"]

BAD_FILES: dict[str, BadFile] = {
    "empty": BadFile(lambda: b"", "NOT_PARQUET"),
    "text": BadFile(lambda: b"not a table\n" * 20, "NOT_PARQUET"),
    "csv": BadFile(lambda: b"rig_id,station_no\nRIG-A,1\n", "NOT_PARQUET"),
    "random bytes": BadFile(lambda: random.Random(1).randbytes(5_000), "NOT_PARQUET", risky=True),
    "magic only": BadFile(lambda: b"PAR1", "PARQUET_DAMAGED"),
    "magic twice": BadFile(lambda: b"PAR1PAR1", "PARQUET_DAMAGED"),
    "magic around noise": BadFile(
        lambda: b"PAR1" + random.Random(2).randbytes(500) + b"\x40\x00\x00\x00PAR1",
        "PARQUET_DAMAGED",
        risky=True,
    ),
    "truncated": BadFile(lambda: _good()[:-100], "PARQUET_DAMAGED", risky=True),
    "corrupt footer": BadFile(_damaged_footer, "PARQUET_DAMAGED", risky=True),
    "corrupt page": BadFile(_damaged_page, "PARQUET_DAMAGED", "pressure_peak_bar", risky=True),
    "impossible footer length": BadFile(
        lambda: _good()[:-8] + b"\xff\xff\xff\x7fPAR1", "PARQUET_DAMAGED", risky=True
    ),
    "fully encrypted": BadFile(
        lambda: encrypted_bytes(
            cycle_columns(), names=list(cycle_columns()), plaintext_footer=False
        ),
        "PARQUET_ENCRYPTED",
        risky=True,
    ),
    "plaintext footer with an encrypted column": BadFile(
        lambda: encrypted_bytes(
            cycle_columns(), names=["pressure_peak_bar"], plaintext_footer=True
        ),
        "PARQUET_ENCRYPTED",
        risky=True,
    ),
    "no rows": BadFile(lambda: table_bytes(pa.table(cycle_columns()).slice(0, 0)), "NO_ROWS"),
    "too many rows": BadFile(_good, "TOO_MANY_ROWS", limits={"max_rows": 19}),
    "too many columns": BadFile(_many_columns, "TOO_MANY_COLUMNS", risky=True),
    "ratio bomb": BadFile(_ratio_bomb, "EXPANDS_TOO_FAR", risky=True),
    "dictionary bomb": BadFile(_dictionary_bomb, "STRING_TOO_LONG", "rig_id", risky=True),
    "duplicate column names": BadFile(_twice("rig_id"), "COLUMN_REPEATED", "rig_id"),
    "names differing in case": BadFile(_twice("Rig_ID"), "COLUMN_REPEATED", "rig_id"),
    "unknown column": BadFile(
        _changed("presure_low_bar", _PEAKS), "UNKNOWN_COLUMN", "presure_low_bar"
    ),
    "no pressure unit": BadFile(
        _renamed("pressure_peak_bar", "pressure_peak"), "PRESSURE_UNIT_NOT_STATED", "pressure_peak"
    ),
    "two pressure units": BadFile(
        _changed("pressure_peak_mpa", _PEAKS), "PRESSURE_UNIT_AMBIGUOUS", "pressure_peak_mpa"
    ),
    "implausible unit": BadFile(
        lambda: parquet_bytes(
            without(
                cycle_columns(pressure_peak_mpa=_PEAKS, pressure_set_mpa=pa.array([43.7] * 20)),
                "pressure_peak_bar",
            )
        ),
        "PRESSURE_UNIT_IMPLAUSIBLE",
        "pressure_peak_mpa",
    ),
    "text counter": BadFile(
        _changed("cycle_in_run", pa.array([str(n) for n in range(20)])),
        "TYPE_NOT_ALLOWED",
        "cycle_in_run",
    ),
    "float counter": BadFile(
        _changed("cycle_in_run", pa.array(np.arange(1.0, 21.0))), "TYPE_NOT_ALLOWED", "cycle_in_run"
    ),
    "text pressure": BadFile(
        _changed("pressure_peak_bar", pa.array(["437"] * 20)),
        "TYPE_NOT_ALLOWED",
        "pressure_peak_bar",
    ),
    "integer rig": BadFile(_changed("rig_id", _COUNTER), "TYPE_NOT_ALLOWED", "rig_id"),
    "zero counter": BadFile(
        _changed("cycle_in_run", replaced(_COUNTER, 4, 0)), "COUNTER_OUT_OF_RANGE", "cycle_in_run"
    ),
    "negative counter": BadFile(
        _changed("cycle_in_run", replaced(_COUNTER, 4, -1)), "COUNTER_OUT_OF_RANGE", "cycle_in_run"
    ),
    "counter above 2^53": BadFile(
        _changed("cycle_in_run", replaced(_COUNTER, 4, 2**53 + 1)),
        "COUNTER_OUT_OF_RANGE",
        "cycle_in_run",
    ),
    "counter above 2^63": BadFile(
        _changed("cycle_in_run", pa.array([2**64 - 1] * 20, pa.uint64())),
        "COUNTER_OUT_OF_RANGE",
        "cycle_in_run",
    ),
    "counter denied by the file's statistics": BadFile(
        _lying_counter, "COUNTER_OUT_OF_RANGE", "cycle_in_run", risky=True
    ),
    "station out of range": BadFile(
        _changed("station_no", pa.array([70_000] * 20, pa.int64())),
        "NUMBER_OUT_OF_RANGE",
        "station_no",
    ),
    "NaN in a needed column": BadFile(
        _changed("pressure_peak_bar", replaced(_PEAKS, 3, float("nan"))),
        "NOT_A_NUMBER",
        "pressure_peak_bar",
    ),
    "infinite in a needed column": BadFile(
        _changed("pressure_peak_bar", replaced(_PEAKS, 3, float("-inf"))),
        "NOT_A_NUMBER",
        "pressure_peak_bar",
    ),
    "list column": BadFile(
        _changed("pressure_peak_bar", pa.array([[437.0]] * 20)),
        "TYPE_NOT_ALLOWED",
        "pressure_peak_bar",
    ),
    "struct column": BadFile(
        _changed("pressure_peak_bar", pa.array([{"value": 437.0}] * 20)),
        "TYPE_NOT_ALLOWED",
        "pressure_peak_bar",
    ),
    "map column": BadFile(
        _changed(
            "pressure_peak_bar", pa.array([[("a", 437.0)]] * 20, pa.map_(pa.string(), pa.float64()))
        ),
        "TYPE_NOT_ALLOWED",
        "pressure_peak_bar",
    ),
    "naive timestamp": BadFile(
        _changed("started_at", _TIMES.cast(pa.timestamp("us"))),
        "TIMESTAMP_WITHOUT_ZONE",
        "started_at",
    ),
    "date for a timestamp": BadFile(
        _changed("started_at", _TIMES.cast(pa.date32())), "TYPE_NOT_ALLOWED", "started_at"
    ),
    "timestamp before 1970": BadFile(
        _changed("started_at", pa.array([-1] * 20, pa.timestamp("us", tz="UTC"))),
        "TIMESTAMP_OUT_OF_RANGE",
        "started_at",
    ),
    "timestamp far in the future": BadFile(
        _changed("started_at", pa.array([2**62] * 20, pa.timestamp("us", tz="UTC"))),
        "TIMESTAMP_OUT_OF_RANGE",
        "started_at",
    ),
    "timestamp beyond every calendar": BadFile(
        _changed("started_at", pa.array([2**62] * 20, pa.timestamp("ms", tz="UTC"))),
        "TIMESTAMP_OUT_OF_RANGE",
        "started_at",
        risky=True,
    ),
    "decimal overflow": BadFile(
        _changed(
            "pressure_peak_bar",
            pa.array([Decimal(10) ** 60] * 20, pa.decimal256(76, 2)),
        ),
        "TYPE_NOT_ALLOWED",
        "pressure_peak_bar",
    ),
    "very long strings": BadFile(
        _changed("unit_serial", pa.array(["x" * 201] * 20)), "STRING_TOO_LONG", "unit_serial"
    ),
    "long optional strings": BadFile(
        _changed("stop_reason", pa.array(["x" * 5_000] * 20)), "STRING_TOO_LONG", "stop_reason"
    ),
    "empty text": BadFile(_changed("rig_id", pa.array([""] * 20)), "TEXT_EMPTY", "rig_id"),
    "control characters": BadFile(
        _changed("run_id", pa.array(["a\x00b"] * 20)), "TEXT_NOT_PRINTABLE", "run_id"
    ),
    "a cycle with a hundred values": BadFile(
        lambda: parquet_bytes(
            {
                **cycle_columns(101, pressure_peak_bar=pa.array(400.0 + np.arange(101))),
                "cycle_in_run": pa.array([1] * 101),
                "started_at": pa.array([START] * 101, pa.timestamp("us", tz="UTC")),
            }
        ),
        "ROWS_CONTRADICT",
        "cycle_in_run",
    ),
    "lives: unit twice": BadFile(
        lambda: parquet_bytes(life_columns(unit_serial=pa.array(["001", "002", "001"]))),
        "UNIT_REPEATED",
        "unit_serial",
    ),
    "lives: unknown ending": BadFile(
        lambda: parquet_bytes(life_columns(ending=pa.array(["FAILED", "FAILED_BETWEEN", "GONE"]))),
        "VALUE_NOT_ALLOWED",
        "ending",
    ),
    "lives: unit that still runs": BadFile(
        lambda: parquet_bytes(
            life_columns(ending=pa.array(["FAILED", "FAILED_BETWEEN", "RUNNING"]))
        ),
        "VALUE_NOT_ALLOWED",
        "ending",
    ),
    "lives: failure without cycles": BadFile(
        lambda: parquet_bytes(life_columns(cycles=pa.array([None, None, 5], pa.int64()))),
        "LIFE_CONTRADICTORY",
        "cycles",
    ),
    "lives: bracket the wrong way round": BadFile(
        lambda: parquet_bytes(life_columns(cycles_low=pa.array([None, 80_000, None], pa.int64()))),
        "LIFE_CONTRADICTORY",
        "cycles_low",
    ),
    "lives: bracket of a run-out": BadFile(
        lambda: parquet_bytes(life_columns(cycles_low=pa.array([None, 60_000, 5], pa.int64()))),
        "LIFE_CONTRADICTORY",
        "cycles_low",
    ),
    "lives: cycles below zero": BadFile(
        lambda: parquet_bytes(life_columns(cycles=pa.array([-1, None, 5], pa.int64()))),
        "COUNTER_OUT_OF_RANGE",
        "cycles",
    ),
}
BAD_FILES |= {
    f"missing {name}": BadFile(
        lambda name=name: parquet_bytes(without(cycle_columns(), name)),  # type: ignore[misc]
        "COLUMN_MISSING",
        name.removesuffix("_bar"),
    )
    for name in NEEDED
}
BAD_FILES |= {
    f"null {name}": BadFile(
        lambda name=name: parquet_bytes(  # type: ignore[misc]
            cycle_columns(**{name: replaced(cycle_columns()[name], 6, None)})
        ),
        "NULL_NOT_ALLOWED",
        name,
    )
    for name in NEEDED
}
"""Every kind of body that must be refused, by what is wrong with it."""
