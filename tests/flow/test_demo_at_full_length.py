"""
Demo lots at full length, over HTTP, against their truth: what a twentieth cannot show.

Onset needs blocks of 100 cycles by the thousand, and a leak that comes and goes, cycles that
are not logged and counters that fall back are longest here. These four lots have all of that
in 48 units and 8.2 million rows; the others add nothing that depends on length, and are scored
at a twentieth like these.
"""

import json
import shutil
from collections.abc import Iterator
from typing import Any, NamedTuple

import pytest
from demo_truth import asked_of, holds_of, said_of
from posted import lives_of, post_demo_lot
from service_client import running_service

from service.demo.bundle import write_bundle
from service.demo.lots import lot

pytestmark = pytest.mark.slow

LOTS = ("L03", "L04", "L06", "L07")
_BASELINE_COMPLETE = 22_000
"""Counted cycles of the blocks that the specification gives to break-in and baseline."""


class Scored(NamedTuple):
    """A posted lot: what the service said, and each unit's life beside its truth."""

    evaluation: dict[str, Any]
    units: list[tuple[dict[str, Any], dict[str, Any]]]


@pytest.fixture(scope="module")
def scored(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Scored]]:
    folder = tmp_path_factory.mktemp("full-length")
    answers = {}
    with running_service(folder / "data", memory_limit="600MB", thread_count=2) as client:
        for name in LOTS:
            bundle = write_bundle(lot(name), folder / name, scale=1.0, said=lambda file: None)
            lot_id = post_demo_lot(client, bundle)
            table = json.loads((bundle.folder / "truth.json").read_text("utf-8"))
            truth = {unit["unit_serial"]: unit for unit in table["units"]}
            lives = lives_of(client, lot_id)
            assert {life["unit_serial"] for life in lives} == set(truth)
            answers[name] = Scored(
                evaluation=client.evaluation(lot_id),
                units=[(life, truth[life["unit_serial"]]) for life in lives],
            )
            shutil.rmtree(folder / name)
    yield answers
    shutil.rmtree(folder)


@pytest.mark.parametrize("name", LOTS)
def test_every_life_is_the_generators_truth(scored: dict[str, Scored], name: str) -> None:
    for life, truth in scored[name].units:
        assert said_of(life) == asked_of(truth), life["unit_serial"]


@pytest.mark.parametrize("name", LOTS)
def test_verdicts_and_limits_do_not_depend_on_length(scored: dict[str, Scored], name: str) -> None:
    right, said = lot(name).right_answer, scored[name].evaluation
    assert said["verdict"] == right.verdict
    assert right.kind in {None, said.get("kind")}
    if right.reliability_lower is not None:
        shown = said["requirements"][0]["variables"]["reliability_lower_worst"]
        assert round(shown, 3) == right.reliability_lower


@pytest.mark.parametrize("name", LOTS)
def test_nothing_is_open_but_what_the_generator_left_open(
    scored: dict[str, Scored], name: str
) -> None:
    for life, truth in scored[name].units:
        # A unit that may go on is overdue only once its rig has gone on without it.
        left_open = [hold for hold in truth.get("holds", []) if hold != "UNIT_OVERDUE"]
        assert holds_of(life) == left_open, life["unit_serial"]


@pytest.mark.parametrize("name", LOTS)
def test_a_leak_that_began_after_the_baseline_is_bracketed(
    scored: dict[str, Scored], name: str
) -> None:
    for life, truth in scored[name].units:
        begins = truth.get("onset_cycles")
        if begins is not None and begins > _BASELINE_COMPLETE:
            onset = life["onset"]
            assert onset["state"] == "ONSET", life["unit_serial"]
            assert onset["low_cycles"] < begins + 1 <= onset["high_cycles"], life["unit_serial"]


@pytest.mark.parametrize("name", LOTS)
def test_a_unit_without_a_leak_has_no_onset(scored: dict[str, Scored], name: str) -> None:
    for life, truth in scored[name].units:
        if "onset_cycles" not in truth:
            # Leaks outside among them: they hardly show as decay, and inspections find them.
            assert life["onset"]["state"] == "NO_ONSET", life["unit_serial"]


def test_slow_leaks_begin_long_before_the_failure_that_ends_the_life(
    scored: dict[str, Scored],
) -> None:
    lives = {life["unit_serial"]: life for life, _ in scored["L07"].units}
    # 0.54 MPa to the limit at 0.020 and 0.030 MPa per 1,000 cycles: 27,000 and 18,000 cycles.
    for serial, cycles, begins in (("L07-004", 171_300, 144_300), ("L07-010", 118_640, 100_640)):
        life = lives[serial]
        assert life["cycles"] == cycles
        assert life["onset"]["low_cycles"] < begins < life["onset"]["high_cycles"]
        assert cycles - life["onset"]["high_cycles"] > 10_000
    # One that began so late that the test ended first: a run-out with a leak to tell of.
    begun = lives["L07-012"]
    assert (begun["ending"], begun["onset"]["state"]) == ("RUN_OUT", "ONSET")


def test_a_unit_that_failed_before_its_baseline_was_complete_says_so(
    scored: dict[str, Scored],
) -> None:
    (early,) = [life for life, _ in scored["L04"].units if life.get("cycles") == 14_700]
    assert (early["onset"]["state"], early["onset"]["reason"]) == ("NO_BASELINE", "TOO_FEW_BLOCKS")


def test_a_step_of_the_baseline_on_another_station_is_no_leak(scored: dict[str, Scored]) -> None:
    (moved,) = [life for life, truth in scored["L07"].units if truth.get("moved_to_station_no")]
    assert {stretch["station_no"] for stretch in moved["stretches"]} == {5, 1}
    assert moved["onset"]["state"] == "NO_ONSET"
    assert (moved["ending"], moved["credited_cycles"]) == ("RUN_OUT", 200_000)


def test_twelve_thousand_cycles_that_were_not_logged_are_not_credited(
    scored: dict[str, Scored],
) -> None:
    lives = [life for life, truth in scored["L07"].units if truth["unlogged_cycles"]]
    assert [life["totals"]["unlogged_cycles"] for life in lives] == [12_000, 12_000]
    assert [life["credited_cycles"] for life in lives] == [188_000, 188_000]
    assert {life["ending"] for life in lives} == {"SUSPENDED"}
