"""Stage one over real tables against the slow reduction of tests/support, row by row."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import timedelta
from importlib import resources
from typing import Any

import duckdb
import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reduction_builders import FIRST_START, spec
from slow_reduction import (
    baselines_of,
    laps_of,
    median_spacing_us,
    summary_of,
    sustained_decay,
)

from analysis.reduction.failures import FailurePoint, first_failure_in_rows
from analysis.reduction.order import in_order
from analysis.reduction.rules import (
    mode_parameters,
    stage_one_parameters,
    streak_text_name,
)
from analysis.reduction.summaries import StretchBase, fold_summaries
from schemas.specs import Spec
from schemas.stretches import CycleGroup, CycleRange, StageOneRows, StretchSummary
from service.storage.stage_one_results import VariantRows
from service.storage.summaries import StageOne
from service.workflows.stage_one_texts import stage_one_texts

FULL_SCALE = 60.0
NAN = float("nan")
PSI_IN_MPA = 0.00689475729316836
"""MPa in one pound-force per square inch: 4.4482216152605 N / (25.4 mm)^2, exact by definition."""
GOOD = {
    "upload_key": 1,
    "pressure_peak_mpa": 33.25,
    "pressure_dwell_start_mpa": 33.0,
    "pressure_dwell_end_mpa": 32.9,
    "pressure_low_mpa": 0.1,
    "pressure_supply_mpa": 38.0,
    "rise_time_s": 0.3,
    "dwell_time_s": 1.5,
    "fluid_temperature_c": 45.0,
    "station_mode": None,
    "stop_reason": None,
    "station_cycle_total": None,
}
LEAKING = {"pressure_dwell_end_mpa": 32.3}
LOW = {"pressure_peak_mpa": 30.0}
WARMING_UP = {"station_mode": "WARM_UP"}
DEFECTS: tuple[dict[str, Any], ...] = (
    LEAKING,
    LEAKING | {"fluid_temperature_c": 60.0},
    LOW,
    WARMING_UP,
    {"pressure_peak_mpa": 36.0},
    {"pressure_peak_mpa": 91.0},
    {"pressure_peak_mpa": 60.0},
    {"pressure_peak_mpa": 36.6, "station_mode": "WARM_UP"},
    {"pressure_low_mpa": 91.0},
    {"pressure_dwell_end_mpa": -1.0},
    {"pressure_low_mpa": 0.5},
    {"rise_time_s": 0.5},
    {"dwell_time_s": 1.0},
    {"fluid_temperature_c": NAN},
    {"pressure_dwell_end_mpa": NAN},
    {"fluid_temperature_c": None, "rise_time_s": None},
    {"pressure_dwell_start_mpa": None, "pressure_dwell_end_mpa": None},
)
Rows = list[dict[str, Any]]


# Building rows and tables --------------------------------------------------------------------


def cycles(*changes: dict[str, Any], counter: int = 1, key: int = 1, hour: float = 0.0) -> Rows:
    """Rows of one stretch, one for each change of a good row, with rising counters."""
    first = FIRST_START + timedelta(hours=hour)
    return [
        GOOD
        | {
            "stretch_key": key,
            "run_id": f"run-{key:02}",
            "station_no": 1,
            "cycle_in_run": counter + n,
            "started_at": first + timedelta(seconds=2.5 * n),
        }
        | change
        for n, change in enumerate(changes)
    ]


@pytest.fixture(scope="module")
def tables() -> Iterator[duckdb.DuckDBPyConnection]:
    """The tables of rows as the first migration makes them, in memory."""
    db = duckdb.connect()
    db.execute("SET threads = 1")
    migration = resources.files("service.storage") / "migrations" / "0001_rows.sql"
    db.execute(migration.read_text("utf-8"))
    yield db
    db.close()


def fill(
    db: duckdb.DuckDBPyConnection, rows: Rows, conflicting: Sequence[Any] = ()
) -> dict[int, str]:
    """Put rows into the empty tables; gives the texts by key."""
    said = sorted(
        {row[name] for row in [*rows, *conflicting] for name in ("station_mode", "stop_reason")}
        - {None}
    )
    keys = {text: key for key, text in enumerate(said, start=1)}
    for table, content in (("cycle_rows", rows), ("conflicting_rows", conflicting)):
        db.execute(f"DELETE FROM {table}")
        if not content:
            continue
        stored = [_stored(row, keys) for row in content]
        names = list(stored[0])
        columns = {f"c{n}": [row[name] for row in stored] for n, name in enumerate(names)}
        types = dict(
            db.execute("SELECT column_name, column_type FROM (DESCRIBE cycle_rows)").fetchall()
        )
        wanted = ", ".join(f"unnest($c{n}::{types[name]}[])" for n, name in enumerate(names))
        db.execute(f"INSERT INTO {table} ({', '.join(names)}) SELECT {wanted}", columns)
    return {key: text for text, key in keys.items()}


def _stored(row: dict[str, Any], keys: dict[str, int]) -> dict[str, Any]:
    left_out = ("run_id", "station_no", "station_mode", "stop_reason")
    return {name: value for name, value in row.items() if name not in left_out} | {
        "station_mode_key": keys.get(row["station_mode"]),
        "stop_reason_key": keys.get(row["stop_reason"]),
    }


def stage_one(db: duckdb.DuckDBPyConnection, chosen: Spec, texts: dict[int, str]) -> StageOne:
    """Stage one with the limits of a specification and a sensor of 60 MPa."""
    modes = [key for key, text in texts.items() if text in chosen.conditions.station_modes]
    parameters = stage_one_parameters(chosen, FULL_SCALE) | mode_parameters(modes)
    return StageOne(db, stage_one_texts(), parameters, streak_text_name(chosen))


def summaries(
    db: duckdb.DuckDBPyConnection,
    rows: Rows,
    chosen: Spec,
    *,
    conflicting: Sequence[dict[str, Any]] = (),
) -> dict[str, list[StretchSummary]]:
    """Summaries by variant, each in the unit's order."""
    texts = fill(db, rows, conflicting)
    found: dict[str, list[StretchSummary]] = {}
    for result in stage_one(db, chosen, texts).run({row["stretch_key"] for row in rows}):
        found.setdefault(result.variant, []).extend(folded(result, rows, texts, chosen))
    return {variant: in_order(each) for variant, each in found.items()}


def folded(
    result: VariantRows, rows: Iterable[dict[str, Any]], texts: dict[int, str], chosen: Spec
) -> list[StretchSummary]:
    bases = {
        row["stretch_key"]: StretchBase(
            stretch_key=row["stretch_key"],
            unit_key=1,
            rig_id="RIG-A",
            run_id=row["run_id"],
            station_no=row["station_no"],
        )
        for row in rows
    }
    parts = StageOneRows(**{name: getattr(result, name) for name in StageOneRows.__struct_fields__})
    persistence = chosen.failure.persistence
    return fold_summaries(parts, bases, texts, persistence.cycles if persistence else None)


def first_decay(stretches: list[StretchSummary], chosen: Spec) -> FailurePoint | None:
    """The first sustained decay."""
    points = first_failure_in_rows(stretches, chosen, {})
    return next((point for point in points if point.seen_as == "DECAY"), None)


def told(point: FailurePoint | None) -> tuple[Any, ...] | None:
    """What a slow walk tells of a decay too."""
    if point is None:
        return None
    up_to = msgspec.to_builtins(point.up_to)
    counts = (point.counted_cycles, point.logged_cycles, point.missing_before, point.over_before)
    return *counts, point.run_id, up_to


# Random units --------------------------------------------------------------------------------


@st.composite
def runs(draw: st.DrawFn) -> list[Rows]:
    """
    Runs of one unit, one after another: gaps, resets, wraps, warm-ups, defects, leaks, moves.

    With an odometer counters may be lost anywhere; without one a reset repeats a counter.
    """
    has_odometer = draw(st.booleans())
    stretches: list[Rows] = []
    cycle_no = 0
    for key in range(1, draw(st.integers(1, 4)) + 1):
        rows: Rows = []
        station = draw(st.integers(1, 2))
        for lap in range(draw(st.integers(1, 3))):
            counter = draw(st.sampled_from([1, 1, 1, 3, 65_530])) if lap == 0 else 1
            for change in draw(st.lists(st.one_of(pieces()), min_size=1, max_size=4)):
                for row in change:
                    cycle_no += 1
                    if row is not None:
                        rows += cycles(row, counter=counter, key=key, hour=key + cycle_no / 1440)
                        rows[-1] |= {
                            "station_no": station,
                            "station_cycle_total": 7000 + cycle_no if has_odometer else None,
                        }
                    counter = 0 if counter == 65_535 else counter + 1
            if not has_odometer and not repeats_first_counter(rows):
                break
        if rows:
            stretches.append(rows)
    return stretches


def repeats_first_counter(rows: Rows) -> bool:
    """Whether another lap from counter 1 would be seen as one: counter 1 was logged."""
    return any(row["cycle_in_run"] == 1 for row in rows)


def pieces() -> st.SearchStrategy[list[dict[str, Any] | None]]:
    """A few cycles of one kind; None is a cycle that was not logged."""
    return st.one_of(
        st.integers(1, 6).map(lambda n: [{}] * n),
        st.integers(1, 6).map(lambda n: [LEAKING] * n),
        st.integers(1, 3).map(lambda n: [None] * n),
        st.integers(1, 4).map(lambda n: [WARMING_UP] * n),
        st.integers(1, 3).map(lambda n: [LOW] * n),
        st.sampled_from(DEFECTS).map(lambda defect: [defect]),
    )


RULES = st.sampled_from(["CONSECUTIVE", "MOVING_AVERAGE"])


@settings(derandomize=True, max_examples=50)
@given(stretches=runs(), rule=RULES)
def test_stage_one_counts_and_finds_what_a_slow_walk_over_the_rows_does(
    tables: duckdb.DuckDBPyConnection, stretches: list[Rows], rule: str
) -> None:
    chosen = spec(rule=rule, conditions={"pressure_invalidation_mpa": 36.58})
    plain = msgspec.to_builtins(chosen)
    rows = [row for each in stretches for row in each]
    found = summaries(tables, rows, chosen)["as_stored"] if rows else []
    expected = [summary_of(lap, plain, FULL_SCALE) for each in stretches for lap in laps_of(each)]
    assert [
        {name: msgspec.to_builtins(getattr(s, name)) for name in e}
        for s, e in zip(found, expected, strict=True)
    ] == expected
    decay = sustained_decay(stretches, plain, FULL_SCALE)
    names = ("counted_cycles", "logged_cycles", "missing_before", "over_before")
    wanted = decay and (*(decay[name] for name in names), decay["up_to"])
    seen = told(first_decay(found, chosen))
    assert (seen and (*seen[:4], seen[5])) == wanted


@settings(derandomize=True, max_examples=40)
@given(stretches=runs(), every=st.lists(st.sampled_from([1, 2, 3]), min_size=4, max_size=4))
def test_thinned_logging_is_read_as_a_slow_walk_over_the_rows_does(
    tables: duckdb.DuckDBPyConnection, stretches: list[Rows], every: list[int]
) -> None:
    chosen = spec(conditions={"pressure_invalidation_mpa": 36.58}, failure={"burst_below_mpa": 10})
    plain = msgspec.to_builtins(chosen)
    thinned = [
        [
            row | {"logged_every": step}
            for row in rows
            if step == 1 or row["cycle_in_run"] % step == 1
        ]
        for rows, step in zip(stretches, every, strict=False)
    ]
    thinned = [rows for rows in thinned if rows]
    rows = [row for each in thinned for row in each]
    found = summaries(tables, rows, chosen)["as_stored"] if rows else []
    expected = [summary_of(lap, plain, FULL_SCALE) for each in thinned for lap in laps_of(each)]
    assert [
        {name: msgspec.to_builtins(getattr(s, name)) for name in e}
        for s, e in zip(found, expected, strict=True)
    ] == expected
    decay = sustained_decay(thinned, plain, FULL_SCALE)
    names = ("counted_cycles", "logged_cycles", "missing_before")
    seen = told(first_decay(found, chosen))
    assert (seen and seen[:3]) == (decay and tuple(decay[name] for name in names))


@settings(derandomize=True, max_examples=12)
@given(stretches=runs(), rule=RULES, chance=st.randoms(use_true_random=False))
def test_order_of_rows_uploads_and_names_of_keys_and_stations_change_nothing(
    tables: duckdb.DuckDBPyConnection, stretches: list[Rows], rule: str, chance: Any
) -> None:
    chosen = spec(rule=rule)
    rows = [row for each in stretches for row in each]
    if not rows:
        return
    before = summaries(tables, rows, chosen)["as_stored"]
    key_of = {key: 40 - 3 * key for key in {row["stretch_key"] for row in rows}}
    changed = [
        row
        | {
            "stretch_key": key_of[row["stretch_key"]],
            "station_no": 9 - row["station_no"],
            "upload_key": chance.randint(1, 3),
        }
        for row in rows
    ]
    chance.shuffle(changed)
    after = summaries(tables, changed, chosen)["as_stored"]
    renamed = [
        msgspec.structs.replace(
            each, stretch_key=key_of[each.stretch_key], station_no=9 - each.station_no
        )
        for each in before
    ]
    assert after == renamed
    assert told(first_decay(after, chosen)) == told(first_decay(before, chosen))


SHORT_BLOCKS = {
    "swap_step": {"decay_mpa": 0.1},
    "onset": {
        "block_cycles": 10,
        "baseline_blocks": [0, 2],
        "mask_after_start_cycles": 3,
        "dead_band_mpa": 0.015,
        "alarm_mpa": 0.05,
    },
}


@settings(derandomize=True, max_examples=40)
@given(stretches=runs(), rise=st.lists(st.floats(0.1, 0.4), min_size=3, max_size=3))
def test_baselines_and_spacings_are_those_of_a_slow_walk_over_the_rows(
    tables: duckdb.DuckDBPyConnection, stretches: list[Rows], rise: list[float]
) -> None:
    chosen = spec(reduction=SHORT_BLOCKS)
    plain = msgspec.to_builtins(chosen)
    for each in stretches:
        for number, row in enumerate(each):
            if row["rise_time_s"] == GOOD["rise_time_s"]:
                row["rise_time_s"] = rise[number % 3]
    rows = [row for each in stretches for row in each]
    found = summaries(tables, rows, chosen)["as_stored"] if rows else []
    expected = [baselines_of(lap, plain, FULL_SCALE) for each in stretches for lap in laps_of(each)]
    for summary, baselines in zip(found, expected, strict=True):
        for name, medians in baselines.items():
            seen = msgspec.to_builtins(getattr(summary, name))
            assert seen == (medians and pytest.approx(medians)), name
    spacings = {each[0]["stretch_key"]: median_spacing_us(each) for each in stretches}
    texts = fill(tables, rows) if rows else {}
    told_by = stage_one(tables, chosen, texts).spacings(spacings) if rows else {}
    for key, microseconds in spacings.items():
        if microseconds is None:
            assert key not in told_by
        else:
            assert abs(told_by[key] - timedelta(microseconds=microseconds)) <= timedelta(
                microseconds=1
            )


# Single rules --------------------------------------------------------------------------------


def one_summary(db: duckdb.DuckDBPyConnection, rows: Rows, chosen: Spec | None = None) -> Any:
    """Summary of rows that are one lap."""
    (found,) = summaries(db, rows, chosen or spec())["as_stored"]
    return found


@pytest.mark.parametrize(
    ("limit", "unit_mpa", "value"),
    [
        # Limits of the part in the units of the rig's table: a value exactly on either edge
        # counts, one step of the display outside does not. Arithmetic, no published source.
        ("lower", 0.1, 315.9),
        ("upper", 0.1, 349.1),
        ("lower", PSI_IN_MPA, 4582.0),
        ("upper", PSI_IN_MPA, 5063.0),
    ],
)
def test_a_pressure_on_the_limit_counts_in_bar_and_psi(
    tables: duckdb.DuckDBPyConnection, limit: str, unit_mpa: float, value: float
) -> None:
    written = value * unit_mpa
    outward = -0.1 * unit_mpa if limit == "lower" else 0.1 * unit_mpa
    bands = {"pressure_lower_mpa": 30.0, "pressure_upper_mpa": 36.0}
    chosen = spec(conditions=bands | {f"pressure_{limit}_mpa": round(written, 9)})
    on_edge = {"pressure_peak_mpa": written}
    in_32_bits = {"pressure_peak_mpa": single(value) * unit_mpa}
    outside = {"pressure_peak_mpa": written + outward}
    found = one_summary(tables, cycles(on_edge, in_32_bits, outside), chosen)
    assert found.counted_cycles == 2


def test_a_decay_of_exactly_the_limit_is_not_over_it_in_bar_psi_and_32_bits(
    tables: duckdb.DuckDBPyConnection,
) -> None:
    on_limit = [
        {"pressure_dwell_start_mpa": start * unit, "pressure_dwell_end_mpa": (start - fall) * unit}
        for start, fall, unit in [(332.1, 6.0, 0.1), (330.0, 6.0, 0.1)]
    ]
    on_limit += [
        {"pressure_dwell_start_mpa": single(32.7), "pressure_dwell_end_mpa": single(32.1)},
        {"pressure_dwell_start_mpa": single(33.3), "pressure_dwell_end_mpa": single(32.7)},
        {"pressure_dwell_start_mpa": single(34.9), "pressure_dwell_end_mpa": single(34.3)},
    ]
    assert one_summary(tables, cycles(*on_limit)).persistent is None
    over = {"pressure_dwell_start_mpa": 33.0, "pressure_dwell_end_mpa": 32.3999}
    assert one_summary(tables, cycles(*[over] * 5)).persistent.first_counted == 1


def single(value: float) -> float:
    """The value as a 32-bit float holds it."""
    return float(np.float32(value))


def test_uncounted_cycles_neither_count_in_a_streak_nor_break_it(
    tables: duckdb.DuckDBPyConnection,
) -> None:
    rows = cycles({}, *[LEAKING] * 3, *[WARMING_UP] * 300, LOW, *[LEAKING] * 2)
    found = one_summary(tables, rows)
    assert (found.persistent.length_cycles, found.persistent.first_counted) == (5, 2)
    assert found.persistent.first_logged == 2


def test_a_missing_counter_breaks_a_streak(tables: duckdb.DuckDBPyConnection) -> None:
    rows = cycles(*[LEAKING] * 9)
    assert one_summary(tables, rows[:4] + rows[5:]).persistent is None


def test_a_moving_average_looks_over_many_cycles_that_do_not_count(
    tables: duckdb.DuckDBPyConnection,
) -> None:
    high = {"pressure_dwell_end_mpa": 31.8}
    gentle = {"pressure_dwell_end_mpa": 32.6}
    rows = cycles({}, high, *[WARMING_UP] * 250, gentle, *[WARMING_UP] * 150, gentle, {})
    found = one_summary(tables, rows, spec(rule="MOVING_AVERAGE"))
    # Decays 1.2, 0.4 and 0.4 MPa have a mean of 0.67 MPa, over the limit of 0.6 MPa.
    assert (found.persistent.first_counted, found.persistent.first_cycle_in_run) == (2, 2)
    broken = one_summary(tables, [*rows[:100], *rows[101:]], spec(rule="MOVING_AVERAGE"))
    assert broken.persistent is None


def test_cells_without_a_decay_make_no_moving_average(tables: duckdb.DuckDBPyConnection) -> None:
    absent = {"pressure_dwell_start_mpa": None, "pressure_dwell_end_mpa": None}
    spike = {"pressure_dwell_end_mpa": 31.9}
    rows = cycles(absent, spike, absent, {}, {})
    assert one_summary(tables, rows, spec(rule="MOVING_AVERAGE")).persistent is None


def test_a_reset_without_a_repeated_counter_is_seen_by_the_odometer(
    tables: duckdb.DuckDBPyConnection,
) -> None:
    early = cycles(*[{}] * 6, counter=5)
    late = cycles(*[{}] * 3, counter=1, hour=1) + cycles({}, {}, counter=12, hour=2)
    rows = [row | {"station_cycle_total": 100 + n} for n, row in enumerate(early + late)]
    found = summaries(tables, rows, spec())["as_stored"]
    assert [(s.lap, s.first_cycle_in_run, s.last_cycle_in_run) for s in found] == [
        (1, 5, 10),
        (2, 1, 13),
    ]


def test_where_counter_and_clock_disagree_the_clocks_order_is_a_second_reading(
    tables: duckdb.DuckDBPyConnection,
) -> None:
    rows = cycles(*[{}] * 6, counter=5) + cycles({}, {}, counter=1, hour=1)
    found = summaries(tables, rows, spec())
    assert [(s.first_cycle_in_run, s.last_cycle_in_run) for s in found["as_stored"]] == [(1, 10)]
    by_clock = [(s.lap, s.first_cycle_in_run, s.last_cycle_in_run) for s in found["by_clock"]]
    assert by_clock == [(1, 5, 10), (2, 1, 2)]
    rising = cycles({}, {}, counter=1) + cycles(*[{}] * 6, counter=5, hour=1)
    assert set(summaries(tables, rising, spec())) == {"as_stored"}


def test_hundreds_of_resets_are_laps_too(tables: duckdb.DuckDBPyConnection) -> None:
    rows = [row for n in range(130) for row in cycles({}, {}, hour=n)]
    found = summaries(tables, rows, spec())["as_stored"]
    assert [s.lap for s in found] == list(range(1, 131))
    assert {s.counted_cycles for s in found} == {2}


def test_an_odometer_that_stands_still_leaves_the_order_to_the_clock(
    tables: duckdb.DuckDBPyConnection,
) -> None:
    rows = [row for n in range(3) for row in cycles({}, {}, hour=n)]
    still = [row | {"station_cycle_total": 0} for row in rows]
    assert [s.counted_cycles for s in summaries(tables, still, spec())["as_stored"]] == [2, 2, 2]


def test_only_attempts_in_a_test_mode_at_the_very_end_are_counted(
    tables: duckdb.DuckDBPyConnection,
) -> None:
    dead = {"pressure_peak_mpa": 0.0}
    assert one_summary(tables, cycles(LOW, {}, LOW, LOW)).under_pressure_at_end == 2
    assert one_summary(tables, cycles({}, LOW, dead)).under_pressure_at_end == 0
    assert one_summary(tables, cycles({}, LOW, WARMING_UP | LOW)).under_pressure_at_end == 0
    assert one_summary(tables, cycles(LOW, LOW, LOW)).under_pressure_at_end == 3
    with_gap = cycles({}, *[LOW] * 9)
    assert one_summary(tables, with_gap[:1] + with_gap[7:]).under_pressure_at_end == 3


def test_a_burst_is_the_fall_of_peak_or_dwell_in_the_last_cycle_of_a_test_mode(
    tables: duckdb.DuckDBPyConnection,
) -> None:
    collapse = {"pressure_dwell_end_mpa": 2.0}
    no_peak = {"pressure_peak_mpa": 6.0, "pressure_dwell_end_mpa": NAN}
    assert one_summary(tables, cycles({}, collapse)).ends_in_burst
    assert one_summary(tables, cycles({}, no_peak)).ends_in_burst
    assert not one_summary(tables, cycles(collapse, {})).ends_in_burst
    assert not one_summary(tables, cycles({}, no_peak | {"station_mode": "BLEED"})).ends_in_burst


def test_supply_and_stop_reason_are_those_of_the_last_row(
    tables: duckdb.DuckDBPyConnection,
) -> None:
    rows = cycles({}, {"pressure_supply_mpa": 33.0, "stop_reason": "GUARD"})
    found = one_summary(tables, rows)
    assert (found.supply_at_end_mpa, found.stop_reason) == (33.0, "GUARD")
    assert one_summary(tables, cycles({"pressure_supply_mpa": NAN})).supply_at_end_mpa is None
    assert one_summary(tables, cycles({"pressure_supply_mpa": None})).supply_at_end_mpa is None


def test_invalidating_and_clipped_cycles_are_counted(tables: duckdb.DuckDBPyConnection) -> None:
    chosen = spec(conditions={"pressure_invalidation_mpa": 36.58, "pressure_upper_mpa": 61.0})
    peaks = [36.58, 36.59, 60.0]
    found = one_summary(tables, cycles(*({"pressure_peak_mpa": p} for p in peaks)), chosen)
    assert (found.tally.invalidating_cycles, found.tally.clipped_cycles) == (2, 1)


def test_conflicting_rows_are_read_as_stored_and_both_ways(
    tables: duckdb.DuckDBPyConnection,
) -> None:
    rows = cycles({}, {}, LEAKING, {})
    other = [rows[1] | LOW | {"upload_key": 2}, rows[2] | {"pressure_dwell_end_mpa": 32.9}]
    found = summaries(tables, rows, spec(), conflicting=other)
    counted = {variant: each[0].counted_cycles for variant, each in found.items()}
    logged = {each[0].logged_cycles for each in found.values()}
    assert counted == {"as_stored": 4, "kindest": 4, "harshest": 3}
    assert logged == {4}


def test_a_conflicting_row_takes_the_lap_of_its_stored_twin(
    tables: duckdb.DuckDBPyConnection,
) -> None:
    rows = cycles({}, {}) + cycles({}, {}, {}, hour=1)
    other = [rows[3] | LOW | {"upload_key": 2}]
    found = summaries(tables, rows, spec(), conflicting=other)
    assert [each.counted_cycles for each in found["harshest"]] == [2, 2]
    assert [each.counted_cycles for each in found["kindest"]] == [2, 3]


def counted_and_logged(groups: list[CycleGroup]) -> tuple[int, int]:
    return sum(g.cycles for g in groups if g.misses == 0), sum(g.cycles for g in groups)


def test_cycles_are_counted_up_to_a_place_by_counter_and_by_time(
    tables: duckdb.DuckDBPyConnection,
) -> None:
    rows = cycles({}, LOW, {}, {}, {}) + cycles({}, {}, {}, key=2) + cycles({}, {}, key=2, hour=1)
    texts = fill(tables, rows)
    at = FIRST_START + timedelta(seconds=5)
    far = FIRST_START + timedelta(days=9)
    points = [(0, 1, 1, 2**62, at), (1, 1, 1, 4, far), (2, 2, 2, 1, far), (3, 1, 1, 0, far)]
    counts = stage_one(tables, spec(), texts).counted_at(points)
    assert {n: counted_and_logged(each) for n, each in counts.items()} == {
        0: (2, 3),
        1: (3, 4),
        2: (1, 1),
    }
    assert stage_one(tables, spec(), texts).counted_at([]) == {}


def test_findings_are_those_of_one_upload_only(tables: duckdb.DuckDBPyConnection) -> None:
    rows = cycles({}, LOW, {}, LOW, WARMING_UP)
    rows[3]["upload_key"] = rows[4]["upload_key"] = 2
    texts = fill(tables, rows)
    found = stage_one(tables, spec(), texts).findings([1], 2)
    assert found == [(1, 2, 1, 5, 5), (1, 16, 1, 4, 4)]


def settled_run(*changes: dict[str, Any]) -> Rows:
    """Rows long enough for blocks of ten after three, these changes repeated in turn."""
    return cycles(*(changes[n % len(changes)] for n in range(40)))


def test_a_baseline_is_the_median_of_a_block_and_forgets_how_a_run_started(
    tables: duckdb.DuckDBPyConnection,
) -> None:
    rows = settled_run({})
    for row in rows[:3]:
        row["pressure_dwell_end_mpa"] = 32.5
    for row in rows[-10:]:
        row["pressure_dwell_end_mpa"] = 32.8
    found = one_summary(tables, rows, spec(reduction=SHORT_BLOCKS))
    assert found.baseline_first.pressure_decay_mpa == pytest.approx(0.1)
    assert found.baseline_last.pressure_decay_mpa == pytest.approx(0.2)
    assert found.baseline_first.rise_time_s == 0.3


def test_half_of_a_block_must_tell_its_median(tables: duckdb.DuckDBPyConnection) -> None:
    chosen = spec(reduction=SHORT_BLOCKS)
    half = one_summary(tables, settled_run({}, LOW), chosen)
    assert half.baseline_first is not None
    fewer = one_summary(tables, settled_run({}, LOW, LOW), chosen)
    assert (fewer.baseline_first, fewer.baseline_last) == (None, None)


def test_without_a_step_that_asks_no_baseline_is_taken(tables: duckdb.DuckDBPyConnection) -> None:
    assert one_summary(tables, settled_run({})).baseline_first is None


def test_counters_missing_right_before_a_streak_are_told_with_it(
    tables: duckdb.DuckDBPyConnection,
) -> None:
    rows = cycles({}, {}, WARMING_UP, *[LEAKING] * 12)
    # Counter 3 is a warm-up cycle, 4 to 7 are missing: the failure may lie in any of them.
    found = one_summary(tables, rows[:3] + rows[7:])
    assert (found.persistent.first_counted, found.persistent.missing_before) == (3, 4)
    # What is missing before a sound cycle says nothing of the failure.
    assert one_summary(tables, rows[1:]).persistent.missing_before == 0
    at_once = one_summary(tables, cycles(*[LEAKING] * 9, counter=6))
    assert (at_once.persistent.first_counted, at_once.persistent.missing_before) == (1, 5)


def test_counters_missing_right_before_a_burst_or_failed_attempts_are_told(
    tables: duckdb.DuckDBPyConnection,
) -> None:
    collapse = {"pressure_dwell_end_mpa": 2.0}
    rows = cycles(*[{}] * 9, collapse)
    assert one_summary(tables, rows[:6] + rows[9:]).missing_before_end == 3
    assert one_summary(tables, rows[:3] + rows[5:]).missing_before_end == 0
    attempts = cycles(*[{}] * 9, *[LOW] * 6)
    assert one_summary(tables, attempts[:5] + attempts[9:]).missing_before_end == 4
    sound = cycles(*[{}] * 9)
    assert one_summary(tables, sound[:5] + sound[8:]).missing_before_end == 0


def test_counters_missing_after_the_last_counted_cycle_are_told(
    tables: duckdb.DuckDBPyConnection,
) -> None:
    rows = cycles({}, {}, {}, {}, WARMING_UP, WARMING_UP)
    assert one_summary(tables, [*rows[:2], *rows[4:]]).missing_after_counted == 2
    assert one_summary(tables, [*rows[:1], *rows[2:]]).missing_after_counted == 0


def test_ranges_name_where_peaks_were_too_high_or_clipped(
    tables: duckdb.DuckDBPyConnection,
) -> None:
    chosen = spec(conditions={"pressure_invalidation_mpa": 36.58})
    peaks = [33.25, 36.6, 33.25, 37.2, 60.0, 33.25]
    found = one_summary(tables, cycles(*({"pressure_peak_mpa": p} for p in peaks)), chosen)
    over = found.ranges["OVER_INVALIDATION"]
    assert (over.first_cycle_in_run, over.last_cycle_in_run, over.highest_peak_mpa) == (2, 5, 60.0)
    assert found.ranges["FULL_SCALE"].first_cycle_in_run == 5
    assert found.tally.invalidating_cycles == 3


def test_a_peak_that_is_no_reading_is_neither_over_pressure_nor_clipped(
    tables: duckdb.DuckDBPyConnection,
) -> None:
    chosen = spec(conditions={"pressure_invalidation_mpa": 36.58})
    found = one_summary(tables, cycles({}, {"pressure_peak_mpa": 91.0}), chosen)
    assert (found.tally.invalidating_cycles, found.tally.clipped_cycles) == (0, 0)
    assert found.ranges == {"NO_READING": CycleRange(first_cycle_in_run=2, last_cycle_in_run=2)}
