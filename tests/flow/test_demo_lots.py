"""The demo's lots from raw rows to verdicts, against their truth and the scenario's figures."""

import json
import math
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import naive_readings
import pytest
from demo_truth import asked_of, holds_of, said_of
from posted import lives_of, post_demo_lot
from service_client import ServiceClient, running_service

from service.demo.bundle import write_bundle
from service.demo.lots import DEMO_LOTS, lot
from service.storage.memos import forget_all
from service.storage.store import Store

_SCALE = 0.05


class Demo:
    """
    The posted demo: a client, the lot ids and the folders the lots came from.

    Everything was told but what was found out of a sensor afterwards; `before` and
    `lives_before` are what was said of its lot until then.
    """

    before: dict[str, Any]
    lives_before: list[dict[str, Any]]

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

    def records(self, name: str) -> dict[str, Any]:
        return dict(json.loads((self.folders[name] / "events.json").read_text("utf-8")))

    def units(self, name: str) -> dict[str, dict[str, Any]]:
        return {unit["unit_serial"]: unit for unit in self.truth(name)["units"]}


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    folder = tmp_path_factory.mktemp("demo")
    with running_service(folder / "data") as client:
        lots, folders = {}, {}
        for name in DEMO_LOTS:
            folders[name] = folder / name
            bundle = write_bundle(lot(name), folders[name], scale=_SCALE, said=lambda file: None)
            lots[name] = post_demo_lot(client, bundle)
        told = Demo(client, lots, folders)
        told.before = told.evaluation("L05")
        told.lives_before = lives_of(client, lots["L05"])
        for calibration in told.records("L05")["calibrations"]:
            assert client.post("/v1/calibrations", calibration).status_code == 201
        yield told


# Verdicts and figures of the invented scenario, computed by hand from its unit lives with the
# closed formulas (48 target lives = 12 units x 2 squared; 0.953 = 0.1 ** (1 / 48)).
FIGURES = {
    "L01": ("ACCEPT", None, 0.953),
    "L02": ("REJECT", "NOT_DEMONSTRATED", 0.920),
    "L03": ("REJECT", "SHOWN_BELOW_REQUIREMENT", None),
    "L04": ("REJECT", None, None),
    "L05": ("HOLD", None, None),
    "L06": ("ACCEPT", None, 0.953),
    # 37.54 target lives and four failures: half the 90 % chi-square point on 10 degrees of
    # freedom, 15.987 / 2, over it.
    "L07": ("REJECT", "NOT_DEMONSTRATED", 0.808),
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
    truth = demo.units(name)
    lives = demo.lives_before if name == "L05" else lives_of(demo.client, demo.lots[name])
    assert {life["unit_serial"] for life in lives} == set(truth)
    for life in lives:
        assert said_of(life) == asked_of(truth[life["unit_serial"]]), life["unit_serial"]


@pytest.mark.parametrize("name", FIGURES)
def test_what_is_open_about_a_unit_is_what_the_generator_left_open(demo: Demo, name: str) -> None:
    truth = demo.units(name)
    for life in lives_of(demo.client, demo.lots[name]):
        expected = sorted(truth[life["unit_serial"]].get("holds", []))
        assert holds_of(life) == expected, life["unit_serial"]


def test_a_leak_found_at_an_inspection_is_a_bracket_that_holds_the_true_life(demo: Demo) -> None:
    truth = demo.units("L07")
    bracketed = [
        life
        for life in lives_of(demo.client, demo.lots["L07"])
        if life["ending"] == "FAILED_BETWEEN"
    ]
    assert len(bracketed) == 2
    for life in bracketed:
        true_life = truth[life["unit_serial"]]["true_life_cycles"]
        assert life["cycles_low"] < true_life <= life["cycles_high"]
        assert life["failure"]["failure_mode"] == "ROD_SEAL_LEAK"


def test_a_leak_on_the_rigs_side_ends_no_life_and_is_told_all_the_same(demo: Demo) -> None:
    lives = {life["unit_serial"]: life for life in lives_of(demo.client, demo.lots["L07"])}
    told = {serial: life["notices"] for serial, life in lives.items() if life["notices"]}
    assert set(told) == {"L07-005"}
    (notice,) = told["L07-005"]
    assert (notice["code"], notice["failure_mode"]) == ("NON_RELEVANT_LEAK", "GAUGE_PORT_LEAK")
    assert (lives["L07-005"]["ending"], lives["L07-005"]["credited_cycles"]) == ("RUN_OUT", 10_000)


def test_cycles_that_were_not_logged_earn_a_survivor_nothing(demo: Demo) -> None:
    lives = lives_of(demo.client, demo.lots["L07"])
    unlogged = [life for life in lives if life["totals"]["unlogged_cycles"]]
    # 12,000 cycles of each over 20; the rig says that the planned count is reached.
    assert [life["totals"]["unlogged_cycles"] for life in unlogged] == [600, 600]
    assert [life["credited_cycles"] for life in unlogged] == [9_400, 9_400]
    for life in unlogged:
        assert {"PLANNED_NOT_COUNTED", "ROWS_MISSING"} <= set(life["marks"])


def test_a_sensor_found_out_turns_an_accepted_lot_into_a_held_one(demo: Demo) -> None:
    assert demo.before["verdict"] == "ACCEPT"
    assert demo.before["holds"] == []
    evaluation = demo.evaluation("L05")
    assert evaluation["robust_to_open_holds"] is False
    assert {hold["name"] for hold in evaluation["holds"]} == {"CALIBRATION_FOUND_OUT"}
    assert evaluation["under_holds"]["best"] == "ACCEPT"
    truth = demo.units("L05")
    touched = 0
    for life in lives_of(demo.client, demo.lots["L05"]):
        corrected = truth[life["unit_serial"]].get("corrected")
        if corrected is None:
            assert life["credited_cycles"] == 10_000
            continue
        touched += 1
        totals = life["totals"]
        assert totals["counted_cycles"] == corrected["counted_cycles"]
        assert totals["not_counted_by"]["CALIBRATION_FOUND_OUT"] == corrected["found_out_cycles"]
        # All but about a tenth of the cycles that were shown to count fell below the band.
        assert 0.05 < totals["counted_cycles"] / 10_000 < 0.15
        assert (life["best"]["ending"], life["best"]["credited_cycles"]) == ("RUN_OUT", 10_000)
        assert life["worst"]["ending"] == "VOID"
    assert touched == 3


def test_with_its_three_units_voided_the_lot_goes_on_with_nine(tmp_path: Path) -> None:
    with running_service(tmp_path / "data") as client:
        bundle = write_bundle(lot("L05"), tmp_path / "L05", scale=_SCALE, said=lambda file: None)
        lot_id = post_demo_lot(client, bundle)
        (calibration,) = json.loads((tmp_path / "L05" / "events.json").read_text())["calibrations"]
        assert client.post("/v1/calibrations", calibration).status_code == 201
        person = client.with_scopes(["lots.read", "holds.sign"], name="A. Tester")
        for hold in client.evaluation(lot_id)["holds"]:
            place = f"/v1/holds/{hold['hold_id']}"
            body = {"choice": "WORST", "meaning": "void", "reason": "cycled below the band"}
            etag = person.get(place).headers["etag"]
            signed = person.post(f"{place}/dispositions", body, **{"If-Match": etag})
            assert signed.status_code == 201
        evaluation = client.evaluation(lot_id)
    assert (evaluation["verdict"], evaluation["holds"]) == ("CONTINUE", [])
    assert [reason["code"] for reason in evaluation["reasons"]] == ["PLAN_NOT_FINISHED"]
    view = evaluation["requirements"][0]["variables"]
    # 9 units x 2 squared; 0.1 ** (1 / 36) = 0.938, as the scenario says.
    assert view["target_lives_worst"] == pytest.approx(36.0)
    assert round(view["reliability_lower_worst"], 3) == 0.938
    # Nine units alone would need 223,335 cycles each, more than the plan lets them run.
    each = 100_000 * math.sqrt(view["target_lives_required"] / 9)
    assert round(each) == 223_335
    # Within the plan: spares to 200,000 cycles, four target lives each; 8.89 are missing.
    (way,) = evaluation["still_needed"]
    assert (way["kind"], way["unit_count"], way["cycles_each"]) == ("ADD_UNITS", 3, 10_000)


@pytest.fixture(scope="module")
def disturbed_rows(demo: Demo) -> dict[str, list[Any]]:
    """Rows of the interrupted lot as its files came, repeats and all."""
    return naive_readings.rows_of(demo.folders["L06"], demo.truth("L06"))


_NAIVE: dict[str, Callable[[dict[str, list[Any]]], list[int]]] = {
    "every run a unit": naive_readings.every_run_a_unit,
    "last run only": naive_readings.last_run_only,
    "first stop a failure": naive_readings.first_stop_a_failure,
}


@pytest.mark.parametrize("reading", _NAIVE)
def test_quick_readings_of_the_interrupted_lot_would_refuse_it(
    demo: Demo, disturbed_rows: dict[str, list[Any]], reading: str
) -> None:
    lives = _NAIVE[reading](disturbed_rows)
    # Even without counting any stop as a failure they fall short of the 44.89 target lives.
    assert sum((cycles / 5_000) ** 2 for cycles in lives) < 44.89
    assert demo.evaluation("L06")["verdict"] == "ACCEPT"


def test_adding_up_every_row_of_every_file_would_show_too_much(
    demo: Demo, disturbed_rows: dict[str, list[Any]]
) -> None:
    # A file that came twice, warm-up cycles and cycles short of pressure.
    naive = sum((cycles / 5_000) ** 2 for cycles in naive_readings.every_row(disturbed_rows))
    assert math.exp(-math.log(10) / naive) > 0.958
    view = demo.evaluation("L06")["requirements"][0]["variables"]
    assert round(view["reliability_lower_worst"], 3) == 0.953


def test_the_rigs_own_counters_would_credit_what_nobody_logged(demo: Demo) -> None:
    rows = naive_readings.rows_of(demo.folders["L07"], demo.truth("L07"))
    by_counter = sorted(naive_readings.highest_counter(rows))
    truth = demo.units("L07")
    credited = sorted(unit["credited_cycles"] for unit in truth.values())
    # Eight units seem to have run to the end, of which two have 9,400 cycles to show.
    assert sum(cycles >= 10_000 for cycles in by_counter) == 8
    assert sum(cycles >= 10_000 for cycles in credited) == 6


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
