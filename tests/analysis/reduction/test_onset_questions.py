"""Lives that are credited although nobody could tell whether a leak had begun."""

import numpy as np
from blocks_by_hand import onset_spec, ramp, run_of
from reduction_builders import evidence, hold_names

from analysis.reduction.lives import reduce_unit
from schemas.lives import UnitLife
from schemas.specs import Spec

SOUND = np.full(100, 0.06)
FAILS = onset_spec(fails=True, plan={"planned_cycles": 10_000})
TELLS = onset_spec(fails=False, plan={"planned_cycles": 10_000})


def short_runs(blocks_each: int, spec: Spec) -> UnitLife:
    """10,000 counted cycles in runs of so many blocks."""
    runs = [
        run_of(SOUND[:blocks_each], key=key, hour=4 * key)
        for key in range(1, 100 // blocks_each + 1)
    ]
    return reduce_unit(evidence(*runs), spec)


def test_a_run_out_without_a_baseline_is_a_question() -> None:
    """Runs of 200 cycles end within the mask of 300: no block is ever read."""
    life = short_runs(2, FAILS)
    assert (life.ending, hold_names(life.holds)) == ("RUN_OUT", ["ONSET_NOT_JUDGED"])
    assert (life.worst.ending, life.worst.cycles_low, life.worst.cycles_high) == (
        "FAILED_BETWEEN",
        0,
        10_000,
    )
    assert life.best.credited_cycles == 10_000


def test_where_onset_is_no_failure_nothing_is_asked() -> None:
    assert short_runs(2, TELLS).holds == []


def test_the_tail_that_a_last_start_leaves_unread_is_no_question() -> None:
    judged = [run_of(SOUND[:96], key=1), run_of(SOUND[:4], key=2, hour=200)]
    life = reduce_unit(evidence(*judged), FAILS)
    assert (life.ending, life.holds) == ("RUN_OUT", [])
    # The fourth block begins with cycle 301 and is read; with three none is.
    tail = [run_of(SOUND[:94], key=1), *(run_of(SOUND[:3], key=k, hour=99 * k) for k in (2, 3))]
    life = reduce_unit(evidence(*tail), FAILS)
    assert hold_names(life.holds) == ["ONSET_NOT_JUDGED"]
    assert (life.worst.cycles_low, life.worst.cycles_high) == (9_400, 10_000)


def test_decay_that_grows_while_the_baseline_is_taken_asks_at_once() -> None:
    growing = ramp(60, onset=1_500, growth_mpa_per_1000=0.05)
    life = reduce_unit(evidence(run_of(growing, stop=None), is_newest_on_station=True), FAILS)
    assert (life.ending, hold_names(life.holds)) == ("RUNNING", ["ONSET_NOT_JUDGED"])
    assert life.holds[0].evidence[0].raw_code == "NOT_STEADY"
    # Blocks 3 to 32 in hundreds are left after the mask: the first two of those are break-in.
    assert life.worst.cycles_low == 0
    assert life.worst.cycles_high == 3_500


def test_the_question_keeps_its_name_while_the_unit_runs_on() -> None:
    growing = ramp(60, onset=1_500, growth_mpa_per_1000=0.05)
    ids = [
        reduce_unit(evidence(run_of(growing[:blocks], stop=None), is_newest_on_station=True), FAILS)
        .holds[0]
        .hold_id
        for blocks in (45, 60)
    ]
    assert ids[0] == ids[1]


def test_a_running_unit_without_a_baseline_yet_asks_nothing_and_earns_nothing() -> None:
    life = reduce_unit(evidence(run_of(SOUND[:20], stop=None), is_newest_on_station=True), FAILS)
    assert (life.holds, life.credited_cycles) == ([], 0)
