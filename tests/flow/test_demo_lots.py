"""The demo's lots from raw rows to verdicts, against their truth and the scenario's figures."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from posted import lives_of, post_demo_lot
from service_client import ServiceClient, running_service

from service.demo.bundle import write_bundle
from service.demo.lots import DEMO_LOTS, lot
from service.storage.memos import forget_all
from service.storage.store import Store

_SCALE = 0.05


class Demo:
    """The posted demo: a client, the lot ids and the folders the lots came from."""

    def __init__(
        self, client: ServiceClient, lots: dict[str, str], folders: dict[str, Path]
    ) -> None:
        self.client = client
        self.lots = lots
        self.folders = folders

    def evaluation(self, name: str) -> dict[str, Any]:
        return dict(self.client.evaluation(self.lots[name]))

    def truth(self, name: str) -> dict[str, Any]:
        return dict(json.loads((self.folders[name] / "truth.json").read_text("utf-8")))


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    folder = tmp_path_factory.mktemp("demo")
    with running_service(folder / "data") as client:
        lots, folders = {}, {}
        for name in DEMO_LOTS:
            folders[name] = folder / name
            bundle = write_bundle(lot(name), folders[name], scale=_SCALE, said=lambda file: None)
            lots[name] = post_demo_lot(client, bundle)
        yield Demo(client, lots, folders)


# Verdicts and figures of the invented scenario, computed by hand from its unit lives with the
# closed formulas (48 target lives = 12 units x 2 squared; 0.953 = 0.1 ** (1 / 48)).
FIGURES = {
    "L01": ("ACCEPT", None, 0.953),
    "L02": ("REJECT", "NOT_DEMONSTRATED", 0.920),
    "L03": ("REJECT", "SHOWN_BELOW_REQUIREMENT", None),
    "L04": ("REJECT", None, None),
    "L06": ("ACCEPT", None, 0.953),
    "L08": ("CONTINUE", None, None),
}


@pytest.mark.parametrize("name", FIGURES)
def test_a_demo_lot_gets_its_verdict(demo: Demo, name: str) -> None:
    verdict, kind, lower = FIGURES[name]
    evaluation = demo.evaluation(name)
    assert evaluation["verdict"] == verdict
    if kind is not None:
        assert evaluation["kind"] == kind
    if lower is not None:
        shown = evaluation["requirements"][0]["variables"]["reliability_lower_worst"]
        assert round(shown, 3) == lower


@pytest.mark.parametrize("name", FIGURES)
def test_the_lives_of_a_demo_lot_are_the_generators_truth(demo: Demo, name: str) -> None:
    truth = {unit["unit_serial"]: unit for unit in demo.truth(name)["units"]}
    lives = lives_of(demo.client, demo.lots[name])
    assert {life["unit_serial"] for life in lives} == set(truth)
    for life in lives:
        unit = truth[life["unit_serial"]]
        found = {
            "ending": life["ending"],
            "cycles": life["cycles"],
            "credited_cycles": life["credited_cycles"],
            "up_to_ending": life["up_to_ending"],
            "not_counted_by_first_reason": life["totals"]["not_counted_by"],
            **{key: life["totals"][key] for key in _TOTALS},
        }
        assert found == {key: unit[key] for key in found}, life["unit_serial"]


_TOTALS = ("logged_cycles", "counted_cycles", "not_counted_cycles", "unlogged_cycles")


def test_the_interrupted_lot_is_accepted_whichever_of_the_conflicting_rows_are_right(
    demo: Demo,
) -> None:
    evaluation = demo.evaluation("L06")
    assert {hold["name"] for hold in evaluation["holds"]} == {"CONFLICTING_ROWS"}
    assert evaluation["robust_to_open_holds"] is True
    assert evaluation["under_holds"] == {"best": "ACCEPT", "worst": "ACCEPT"}


def test_what_the_unfinished_lot_still_needs(demo: Demo) -> None:
    evaluation = demo.evaluation("L08")
    progress = evaluation["requirements"][0]["plan"]
    # 20 units at 1.2 targets: 20 x 1.44 target lives at the worst shape 2.0 of the range.
    assert progress["target_lives"] == pytest.approx(28.8, rel=1e-3)
    # Half the 90 % chi-square quantile with 4 degrees of freedom, 3.8897, over -ln 0.95.
    assert progress["target_lives_required"] == pytest.approx(75.83, abs=5e-3)
    assert [way["kind"] for way in evaluation["still_needed"]] == ["FINISH_DECLARED_UNITS"]


def test_rows_of_every_upload_are_all_accounted_for(demo: Demo) -> None:
    for upload in demo.client.read_all("/v1/uploads"):
        found = demo.client.read(f"/v1/uploads/{upload['upload_id']}/findings")
        assert found["without_spec_rows"] == 0
        assert upload["row_count"] == (
            found["counted_cycles"]
            + found["not_counted_cycles"]
            + found["duplicate_rows"]
            + found["conflicting_rows"]
        )


def test_deleting_everything_derived_changes_no_answer(tmp_path: Path) -> None:
    with running_service(tmp_path / "data") as client:
        bundle = write_bundle(lot("L06"), tmp_path / "L06", scale=_SCALE, said=lambda file: None)
        lot_id = post_demo_lot(client, bundle)
        before = client.get(f"/v1/lots/{lot_id}/evaluation")
        lives = lives_of(client, lot_id)
    store = Store.open(tmp_path / "data", memory_limit="300MB", threads=1)
    store.write_now(forget_all)
    store.close()
    with running_service(tmp_path / "data") as client:
        after = client.get(f"/v1/lots/{lot_id}/evaluation")
        assert (after.content, after.headers["ETag"]) == (before.content, before.headers["ETag"])
        assert lives_of(client, lot_id) == lives
