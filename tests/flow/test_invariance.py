"""The same rows told another way give the same lives and the same verdict."""

import io
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
import pytest
from bodies import BURST, attribute_spec
from hypothesis import given, settings
from hypothesis import strategies as st
from lots_by_hand import at
from posted import lives_of, post_events, tell_scenario
from scenario_files import Scenario, scenarios
from service_client import ServiceClient, running_service

_SCENARIOS = {each.name: each for each in scenarios()}
_NAMES = ("s07_one_failure", "s15_reset_same_run_odometer", "s42_end_check_failed")
Retelling = Callable[[pa.Table], Iterable[pa.Table]]


def _shuffled(table: pa.Table) -> Iterable[pa.Table]:
    order = np.random.default_rng(20251125).permutation(table.num_rows)
    return [table.take(pa.array(order))]


def _split_over_uploads(table: pa.Table) -> Iterable[pa.Table]:
    """Rows dealt to three uploads at random: every run is split, none in order."""
    hand = np.random.default_rng(7).integers(0, 3, table.num_rows)
    return [table.filter(pa.array(hand == number)) for number in range(3)]


def _posted_twice(table: pa.Table) -> Iterable[pa.Table]:
    return [table, table.slice(0, table.num_rows // 2), table]


def _in_bar(table: pa.Table) -> Iterable[pa.Table]:
    """Pressures in bar instead of MPa (or the other way), text plain, columns turned round."""
    columns = {}
    for name in reversed(table.column_names):
        column = table[name]
        if pa.types.is_dictionary(column.type):
            column = column.cast(pa.string())
        if name.endswith("_mpa"):
            columns[name.removesuffix("_mpa") + "_bar"] = pc.multiply(column, 10.0)
        elif name.endswith("_bar"):
            columns[name.removesuffix("_bar") + "_mpa"] = pc.divide(column, 10.0)
        else:
            columns[name] = column
    return [pa.table(columns)]


def _with_other_stations(table: pa.Table) -> Iterable[pa.Table]:
    place = table.column_names.index("station_no")
    return [table.set_column(place, "station_no", pc.add(table["station_no"], 40))]


RETELLINGS: dict[str, Retelling] = {
    "shuffled": _shuffled,
    "split over uploads": _split_over_uploads,
    "posted twice": _posted_twice,
    "in another unit": _in_bar,
    "on other stations": _with_other_stations,
}


def _bytes(table: pa.Table) -> bytes:
    sink = io.BytesIO()
    pq.write_table(table, sink)
    return sink.getvalue()


def _post(client: ServiceClient, scenario: Scenario, retelling: Retelling) -> dict[str, str]:
    lots = tell_scenario(client, scenario)
    for step in scenario.expected["steps"]:
        if "upload" in step:
            table = pq.read_table(io.BytesIO(scenario.upload(step["upload"])))
            for part in retelling(table):
                client.upload(_bytes(part))
        for kind in step.get("post_events", []):
            post_events(client, {kind: scenario.events[kind]})
    return lots


def _answers(client: ServiceClient, lots: dict[str, str]) -> list[Any]:
    """Lives without the stations they were run on, and what the lots come to."""
    answers: list[Any] = []
    for lot_id in lots.values():
        for life in lives_of(client, lot_id):
            for stretch in life["stretches"]:
                del stretch["station_no"]
            life.pop("last_station_no", None)
            answers.append(life)
        evaluation = client.evaluation(lot_id)
        answers.append({key: evaluation[key] for key in ("verdict", "reasons", "requirements")})
    return answers


@pytest.fixture(scope="module")
def plain_answers(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[Any]]:
    answers = {}
    for name in _NAMES:
        with running_service(tmp_path_factory.mktemp(name)) as client:
            lots = _post(client, _SCENARIOS[name], lambda table: [table])
            answers[name] = _answers(client, lots)
    return answers


@pytest.mark.parametrize("name", _NAMES)
@pytest.mark.parametrize("retelling", RETELLINGS)
def test_telling_the_rows_another_way_changes_no_life(
    plain_answers: dict[str, list[Any]], name: str, retelling: str, tmp_path: Path
) -> None:
    with running_service(tmp_path) as client:
        lots = _post(client, _SCENARIOS[name], RETELLINGS[retelling])
        assert _answers(client, lots) == plain_answers[name]


# Any lot, told in any of six other ways and in several at once -----------------------------------

LOT_NUMBER, OTHER_LOT = "CC25-0117", "CC25-0118"
SPEC = attribute_spec(
    failure={
        "modes": [BURST | {"name": "SEAL_DECAY", "seen_as": "DECAY"}],
        "decay_limit_mpa": 0.6,
        "persistence": {"rule": "CONSECUTIVE", "cycles": 3},
    },
    reduction={"under_pressure_share_max": 0.2},
)
TIGHT, LEAKS = 32.94, 32.2
"""Dwell ends after a dwell start of 33.0 MPa: a decay of 0.06 and one over the limit."""


@st.composite
def units_of_a_lot(draw: st.DrawFn) -> pa.Table:
    """Rows of two units in a few runs: leaks, low cycles, gaps, resets, unexplained stops."""
    rows: list[dict[str, Any]] = []
    has_odometer = draw(st.booleans())
    for station_no in (1, 2):
        odometer, hour = 1000, 0.0
        for run_no in range(draw(st.integers(1, 3))):
            run: list[dict[str, Any]] = []
            counter = 0
            for length, kind in draw(st.lists(_PIECES, min_size=1, max_size=6)):
                if kind == "GAP":
                    counter += length
                    odometer += length
                if kind == "RESET" and has_odometer:
                    counter = 0
                if kind not in ("GAP", "RESET"):
                    for _ in range(length):
                        counter, odometer = counter + 1, odometer + 1
                        number = odometer if has_odometer else counter
                        run.append(_row(station_no, run_no, counter, at(hour, number), kind))
                        run[-1]["station_cycle_total"] = odometer if has_odometer else None
            if run:
                run[-1]["stop_reason"] = draw(st.sampled_from([None, "OPERATOR_STOP"]))
            rows += run
            hour += 3.0
    if not rows:
        rows = [_row(1, 0, 1, at(0), "GOOD")]
    return _table(rows)


_PIECES = st.tuples(
    st.integers(1, 12), st.sampled_from(["GOOD", "GOOD", "LEAK", "LOW", "GAP", "RESET"])
)


def _row(station_no: int, run_no: int, counter: int, started_at: Any, kind: str) -> dict[str, Any]:
    return {
        "rig_id": "RIG-A",
        "station_no": station_no,
        "lot_number": LOT_NUMBER,
        "unit_serial": f"00{station_no}",
        "run_id": f"run-{station_no}-{run_no}",
        "cycle_in_run": counter,
        "started_at": started_at,
        "pressure_peak_mpa": 20.0 if kind == "LOW" else 33.25,
        "pressure_dwell_start_mpa": 33.0,
        "pressure_dwell_end_mpa": LEAKS if kind == "LEAK" else TIGHT,
        "stop_reason": None,
        "station_cycle_total": None,
    }


def _table(rows: list[dict[str, Any]]) -> pa.Table:
    table = pa.Table.from_pylist(rows)
    for name, kind in (("stop_reason", pa.string()), ("station_cycle_total", pa.int64())):
        place = table.column_names.index(name)
        table = table.set_column(place, name, table[name].cast(kind))
    return table


def _permuted(table: pa.Table, chance: np.random.Generator) -> list[pa.Table]:
    return [table.take(pa.array(chance.permutation(table.num_rows)))]


def _split(table: pa.Table, chance: np.random.Generator) -> list[pa.Table]:
    hand = chance.integers(0, 3, table.num_rows)
    parts = [table.filter(pa.array(hand == number)) for number in range(3)]
    return [part for part in parts if part.num_rows]


def _duplicated(table: pa.Table, chance: np.random.Generator) -> list[pa.Table]:
    again = table.take(pa.array(np.sort(chance.integers(0, table.num_rows, table.num_rows))))
    return [pa.concat_tables([table, again.slice(0, 3)]), again]


def _reencoded(table: pa.Table, chance: np.random.Generator) -> list[pa.Table]:
    (in_bar,) = _in_bar(table)
    place = in_bar.column_names.index("started_at")
    instants = in_bar["started_at"].cast(pa.timestamp("ns", tz="Asia/Kolkata"))
    return [in_bar.set_column(place, "started_at", instants)]


def _moved(table: pa.Table, chance: np.random.Generator) -> list[pa.Table]:
    place = table.column_names.index("station_no")
    by = int(chance.integers(1, 40))
    return [table.set_column(place, "station_no", pc.add(table["station_no"], by))]


def _interleaved(table: pa.Table, chance: np.random.Generator) -> list[pa.Table]:
    """Rows of another lot, from stations of their own, dealt into the same file."""
    other = table
    for name, value in (("lot_number", OTHER_LOT), ("station_no", None), ("run_id", "other")):
        place = other.column_names.index(name)
        column = pc.add(other[name], 100) if value is None else pa.array([value] * other.num_rows)
        other = other.set_column(place, name, column)
    both = pa.concat_tables([table, other])
    return [both.take(pa.array(chance.permutation(both.num_rows)))]


SIX_WAYS = (_interleaved, _moved, _permuted, _split, _duplicated, _reencoded)


def _lives(tables: list[pa.Table], folder: Path) -> Any:
    """Lives and verdict of the lot, without what names a place or a hold."""
    with running_service(folder) as client:
        client.approved_spec(SPEC)
        lot_id = str(client.lot(LOT_NUMBER)["lot_id"])
        client.sample(lot_id, ["001", "002"])
        client.assign(lot_id, SPEC["spec_id"])
        for table in tables:
            client.upload(_bytes(table))
        evaluation = client.evaluation(lot_id)
        kept = {key: evaluation[key] for key in ("verdict", "reasons", "requirements", "evidence")}
        return _placeless([lives_of(client, lot_id), kept])


def _placeless(value: Any) -> Any:
    named = ("station_no", "last_station_no", "hold_id", "failure_id")
    if isinstance(value, dict):
        return {key: _placeless(each) for key, each in value.items() if key not in named}
    return [_placeless(each) for each in value] if isinstance(value, list) else value


@settings(max_examples=10)
@given(
    table=units_of_a_lot(),
    ways=st.sets(st.sampled_from(SIX_WAYS), min_size=1),
    seed=st.integers(0, 2**32 - 1),
)
def test_no_lot_changes_however_its_rows_are_told(
    tmp_path_factory: pytest.TempPathFactory, table: pa.Table, ways: set[Any], seed: int
) -> None:
    chance = np.random.default_rng(seed)
    retold = [table]
    for way in SIX_WAYS:
        if way in ways:
            retold = [part for each in retold for part in way(each, chance)]
    plain = _lives([table], tmp_path_factory.mktemp("plain"))
    assert _lives(retold, tmp_path_factory.mktemp("retold")) == plain


@pytest.mark.parametrize("way", SIX_WAYS)
def test_each_of_the_six_ways_tells_the_same_rows(way: Any) -> None:
    """Nothing of this is worth anything if a way loses or invents a row."""
    rows = [_row(1, 0, n, at(0, n), "GOOD") for n in range(1, 41)]
    told = pa.concat_tables(
        [
            part.select(["lot_number", "cycle_in_run"])
            for part in way(_table(rows), np.random.default_rng(1))
        ]
    )
    own = told.filter(pc.equal(told["lot_number"], LOT_NUMBER))
    assert set(own["cycle_in_run"].to_pylist()) == set(range(1, 41))
