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
