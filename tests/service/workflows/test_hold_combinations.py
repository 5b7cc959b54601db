"""Every way of deciding the open holds of a lot, and the verdict it would have."""

from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from bodies import attribute_spec, failed, lives_table, run_outs
from service_client import ServiceClient, running_service

from service.workflows.hold_combinations import MOST_ENUMERATED, trial_answer

SERIALS = [f"{number:03}" for number in range(1, 13)]


def held(client: ServiceClient, lot_number: str, doubtful: int, **plan: int) -> str:
    """Twelve run-outs of which some have a second life that says they failed."""
    spec = attribute_spec(lot_number, plan={**attribute_spec()["plan"], "unit_count": 12, **plan})
    client.approved_spec(spec)
    lot_id = str(client.lot(lot_number)["lot_id"])
    client.sample(lot_id, SERIALS)
    client.assign(lot_id, lot_number)
    client.upload(lives_table(run_outs(lot_number, SERIALS)))
    if doubtful:
        client.upload(lives_table([failed(lot_number, s, 500) for s in SERIALS[:doubtful]]))
    return lot_id


def combinations(client: ServiceClient, lot_id: str) -> dict[str, Any]:
    found: dict[str, Any] = client.read(f"/v1/lots/{lot_id}/hold-combinations")
    return found


def test_every_combination_has_its_verdict(tmp_path: Path) -> None:
    with running_service(tmp_path) as client:
        lot_id = held(client, "COMB-1", doubtful=3, allowed_failures=1)
        found = combinations(client, lot_id)
        assert (found["open_hold_count"], found["is_complete"]) == (3, True)
        # One failure is allowed among twelve: one of three may have failed, two may not.
        for each in found["combinations"]:
            failures = Counter(each["choices"].values())["WORST"]
            assert each["verdict"] == ("ACCEPT" if failures <= 1 else "REJECT")
        ways = {tuple(sorted(each["choices"].items())) for each in found["combinations"]}
        assert len(ways) == len(found["combinations"]) == 8
        evaluation = client.evaluation(lot_id)
        assert found["evaluation_key"] == evaluation["provenance"]["evaluation_key"]
        assert found["verdict"] == evaluation["verdict"] == "HOLD"


def test_of_too_many_holds_only_both_ends_are_tried(tmp_path: Path) -> None:
    with running_service(tmp_path) as client:
        lot_id = held(client, "COMB-2", doubtful=MOST_ENUMERATED + 1)
        found = combinations(client, lot_id)
        assert (found["open_hold_count"], found["is_complete"]) == (MOST_ENUMERATED + 1, False)
        verdicts = [
            (set(each["choices"].values()), each["verdict"]) for each in found["combinations"]
        ]
        assert verdicts == [({"BEST"}, "ACCEPT"), ({"WORST"}, "REJECT")]
        under = client.evaluation(lot_id)["under_holds"]
        assert [verdict for _, verdict in verdicts] == [under["best"], under["worst"]]


def test_a_lot_without_a_hold_has_one_way(tmp_path: Path) -> None:
    with running_service(tmp_path) as client:
        found = combinations(client, held(client, "COMB-3", doubtful=0))
        assert found["combinations"] == [{"choices": {}, "verdict": "ACCEPT"}]


@pytest.mark.parametrize("choice", ["BEST", "WORST"])
def test_a_trial_is_signed_by_nobody(choice: Any) -> None:
    answer = trial_answer(choice)
    assert (answer.choice, answer.signed_by) == (choice, "")
