"""A held lot is decided by a person, and every answer is built again from the facts alone."""

import io
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from bodies import failed, lives_table
from posted import lives_of, tell_scenario
from scenario_files import Scenario, scenarios
from service_client import ServiceClient, running_service

_CLEAN = next(each for each in scenarios() if each.name == "s01_clean_accept")
_LOT = _CLEAN.expected["lots"][0]
_DOUBTFUL = "A1-003"
_MEMOS = ("stretch_summaries", "lot_lives", "lot_evaluations")


def _post(client: ServiceClient, scenario: Scenario = _CLEAN) -> str:
    """The accepted lot of the scenario, and a table that says that one of its units failed."""
    (lot_id,) = tell_scenario(client, scenario).values()
    for step in scenario.expected["steps"]:
        client.upload(scenario.upload(step["upload"]))
    client.upload(lives_table([failed(_LOT["lot_number"], _DOUBTFUL, 700)]))
    return lot_id


def _sign(client: ServiceClient, hold_id: str, choice: str) -> Any:
    person = client.with_scopes(["lots.read", "holds.sign"], name="A. Tester")
    report = person.get(f"/v1/holds/{hold_id}")
    body = {"choice": choice, "meaning": "hold decided", "reason": "compared with the bench log"}
    path = f"/v1/holds/{hold_id}/dispositions"
    answer = person.post(path, body, **{"If-Match": report.headers["etag"]})
    assert answer.status_code == 201, answer.text
    return answer.json()


def _everything(client: ServiceClient, lot_id: str) -> list[Any]:
    """All that is said about the lot: evaluation, lives, holds, dispositions, decisions."""
    evaluation = client.evaluation(lot_id)
    held = [*evaluation["holds"], *evaluation.get("decided_holds", [])]
    return [
        evaluation,
        lives_of(client, lot_id),
        [client.read(f"/v1/holds/{hold['hold_id']}") for hold in held],
        [client.read_all(f"/v1/holds/{hold['hold_id']}/dispositions") for hold in held],
        client.read_all(f"/v1/lots/{lot_id}/decisions"),
    ]


@pytest.mark.parametrize(("choice", "verdict"), [("BEST", "ACCEPT"), ("WORST", "REJECT")])
def test_a_held_lot_is_decided_and_is_the_same_after_a_rebuild(
    choice: str, verdict: str, tmp_path: Path
) -> None:
    with running_service(tmp_path) as client:
        lot_id = _post(client)
        evaluation = client.evaluation(lot_id)
        assert (evaluation["verdict"], evaluation["under_holds"]["best"]) == ("HOLD", "ACCEPT")
        (hold,) = evaluation["holds"]
        signed = _sign(client, hold["hold_id"], choice)
        assert (signed["before"]["verdict"], signed["after"]["verdict"]) == ("HOLD", verdict)
        assert client.decide(lot_id)["verdict"] == verdict
        said = _everything(client, lot_id)
    with duckdb.connect(str(tmp_path / "lotproof.duckdb")) as database:
        for table in _MEMOS:
            database.execute(f"DELETE FROM {table}")
    with running_service(tmp_path) as client:
        assert _everything(client, lot_id) == said


def test_decided_for_the_rows_the_lot_is_the_one_that_was_never_held(tmp_path: Path) -> None:
    # The scenario's lives and figures are known from elsewhere; the table changed nothing of them.
    with running_service(tmp_path) as client:
        lot_id = _post(client)
        (hold,) = client.evaluation(lot_id)["holds"]
        _sign(client, hold["hold_id"], "BEST")
        evaluation = client.evaluation(lot_id)
        assert evaluation["verdict"] == _LOT["verdict"]
        assert [reason["code"] for reason in evaluation["reasons"]] == _LOT["reasons"]
        lives = {life["unit_serial"]: life for life in lives_of(client, lot_id)}
        for expected in _CLEAN.expected["units"]:
            life = lives[expected["unit_serial"]]
            assert life["ending"] == expected["ending"]
            assert life["credited_cycles"] == expected["credited_cycles"]
            assert life["totals"]["counted_cycles"] == expected["counted_cycles"]


def test_holds_keep_their_names_however_the_rows_are_told(tmp_path: Path) -> None:
    def names(folder: str, *, part_count: int) -> list[str]:
        with running_service(tmp_path / folder) as client:
            unmapped = _without_code("CNT_DONE")
            (lot_id,) = tell_scenario(client, unmapped).values()
            for step in unmapped.expected["steps"]:
                for part in _dealt(unmapped.upload(step["upload"]), part_count):
                    client.upload(part)
            return [hold["hold_id"] for hold in client.evaluation(lot_id)["holds"]]

    plain = names("plain", part_count=1)
    assert len(plain) == 8
    assert names("split", part_count=3) == plain


def _dealt(table: bytes, part_count: int) -> list[bytes]:
    """Rows dealt to several uploads at random: every run is split, none in order."""
    rows = pq.read_table(io.BytesIO(table))
    hand = np.random.default_rng(7).integers(0, part_count, rows.num_rows)
    parts = []
    for number in range(part_count):
        sink = io.BytesIO()
        pq.write_table(rows.filter(pa.array(hand == number)), sink)
        parts.append(sink.getvalue())
    return parts


def _without_code(code: str) -> Scenario:
    """The scenario as a rig would tell it whose map lacks a code: every such stop is a hold."""
    scenario = Scenario(_CLEAN.folder)
    for rig in scenario.setup["rigs"].values():
        del rig["stop_codes"][code]
    return scenario
