"""The rule at the edges of the band, from calibration records to the verdict under both rules.

Six units to 1,000 cycles are accepted; with one of them short of its planned cycles the plan is
not finished. Twenty of its cycles read 34.80 MPa, the band ends at 34.91 MPa.
"""

from __future__ import annotations

import msgspec
import numpy as np
import pytest
from edge_lots import NEAR_CYCLES, PLANNED, conditions, evaluation_of, six_units, state_uncertainty
from lots_by_hand import add_rows, approved, assign, lot_id_of, register, run_rows
from msgspec import UNSET

from schemas.edge_rules import EdgeShare, UnderEdgeRules
from service.storage import memos
from service.storage.store import Store
from service.workflows.evaluate_lot import evaluate
from service.workflows.reduce_lot import lives_of, read_lot

IN_ALL = 6 * PLANNED
SHARE = NEAR_CYCLES / IN_ALL


def test_without_an_uncertainty_the_rule_is_said_and_nothing_else(store: Store) -> None:
    six_units(store)
    found = evaluation_of(store)
    assert found.verdict == "ACCEPT"
    assert found.edge_rule == UnderEdgeRules(rule="PLAIN", uncertainty_known=False)
    assert [unit.edge for unit in found.units] == [UNSET] * 6


def test_the_share_near_an_edge_is_told_and_that_the_verdict_hangs_on_it(store: Store) -> None:
    six_units(store)
    state_uncertainty(store, 0.2)
    found = evaluation_of(store)
    assert found.verdict == "ACCEPT"
    assert found.edge_rule == UnderEdgeRules(
        rule="PLAIN",
        uncertainty_known=True,
        counted_cycles=IN_ALL,
        cycles_at_edge=NEAR_CYCLES,
        share_at_edge=SHARE,
        uncertainty_mpa=0.2,
        verdict_under_plain="ACCEPT",
        verdict_under_guarded="CONTINUE",
        depends=True,
    )
    assert found.units[5].edge == EdgeShare(
        uncertainty_known=True,
        counted_cycles=PLANNED,
        cycles_at_edge=NEAR_CYCLES,
        share_at_edge=NEAR_CYCLES / PLANNED,
        uncertainty_mpa=0.2,
    )


def test_a_guarded_band_counts_only_what_is_inside_it_for_certain(store: Store) -> None:
    six_units(store, conditions=conditions("GUARDED"))
    state_uncertainty(store, 0.2)
    found = evaluation_of(store)
    assert found.verdict == "CONTINUE"
    assert found.units[5].counted_cycles == PLANNED - NEAR_CYCLES
    rules = found.edge_rule
    assert rules and (rules.verdict_under_plain, rules.verdict_under_guarded) == (
        "ACCEPT",
        "CONTINUE",
    )
    assert (rules.cycles_at_edge, rules.share_at_edge, rules.depends) == (NEAR_CYCLES, SHARE, True)


def test_a_doubted_cycle_says_so_and_is_not_short_of_pressure(store: Store) -> None:
    six_units(store, conditions=conditions("GUARDED"), peak=31.70)
    state_uncertainty(store, 0.2)
    lot_id = lot_id_of(store)
    lives = store.read_now(lambda db: lives_of(db, read_lot(db, lot_id), keep=False))
    assert lives[5].totals.not_counted_by == {"EDGE_DOUBT": NEAR_CYCLES}


def test_a_smaller_uncertainty_leaves_the_verdict_alone(store: Store) -> None:
    six_units(store)
    state_uncertainty(store, 0.1)
    rules = evaluation_of(store).edge_rule
    assert rules and (rules.cycles_at_edge, rules.depends) == (0, False)
    assert rules.verdict_under_guarded == rules.verdict_under_plain == "ACCEPT"


def test_an_uncertainty_that_one_sensor_lacks_is_not_known(store: Store) -> None:
    six_units(store)
    state_uncertainty(store, 0.2, 1, 2, 3, 4, 6)
    rules = evaluation_of(store).edge_rule
    assert rules and (rules.uncertainty_known, rules.counted_cycles) == (False, 5 * PLANNED)
    assert (rules.verdict_under_guarded, rules.depends) == (UNSET, UNSET)


def test_silence_does_not_accept_under_a_guarded_band(store: Store) -> None:
    six_units(store, near=0, conditions=conditions("GUARDED"))
    held = evaluation_of(store)
    assert (held.verdict, held.under_holds.best, held.under_holds.worst) == (
        "HOLD",
        "ACCEPT",
        "CONTINUE",
    )
    assert {hold.name for hold in held.holds} == {"UNCERTAINTY_NOT_RECORDED"}
    state_uncertainty(store, 0.2)
    assert evaluation_of(store).verdict == "ACCEPT"


def test_a_record_without_an_uncertainty_that_supersedes_takes_it_away(store: Store) -> None:
    six_units(store)
    state_uncertainty(store, 0.2)
    state_uncertainty(store, None, 6, key="LATER")
    rules = evaluation_of(store).edge_rule
    assert rules and not rules.uncertainty_known


@pytest.mark.parametrize(("peak", "verdict"), [(36.40, "HOLD"), (36.30, "CONTINUE")])
def test_the_limit_that_invalidates_is_guarded_too(store: Store, peak: float, verdict: str) -> None:
    # 36.40 MPa may have been 36.60; 36.30 at most 36.50: the limit is 36.58 MPa.
    limit = {"pressure_invalidation_mpa": 36.58}
    six_units(store, near=1, peak=peak, conditions=conditions("GUARDED", **limit))
    state_uncertainty(store, 0.2)
    found = evaluation_of(store)
    assert found.verdict == verdict
    assert [hold.name for hold in found.holds] == ["OVER_PRESSURE"] * (verdict == "HOLD")


@pytest.mark.parametrize("rule", ["PLAIN", "GUARDED"])
def test_what_is_kept_and_what_is_computed_anew_agree(store: Store, rule: str) -> None:
    six_units(store, conditions=conditions(rule))
    state_uncertainty(store, 0.2)
    lot_id = lot_id_of(store)
    kept = store.write_now(lambda db: evaluate(db, lot_id, keep=True))
    again = evaluation_of(store)
    store.write_now(memos.forget_all)
    anew = evaluation_of(store)
    encoded = {msgspec.json.encode(each) for each in (kept, again, anew)}
    assert len(encoded) == 1


@pytest.mark.parametrize("rule", ["PLAIN", "GUARDED"])
def test_edges_are_those_of_true_pressures_where_a_sensor_was_off(store: Store, rule: str) -> None:
    # The sensor of unit 6 read 1 % low: 34.50 MPa was 34.85 MPa, near the edge in truth only.
    six_units(store, peak=34.50, conditions=conditions(rule))
    state_uncertainty(store, 0.2, 1, 2, 3, 4, 5)
    state_uncertainty(store, 0.2, 6, gain=0.99)
    rules = evaluation_of(store).edge_rule
    assert rules and (rules.cycles_at_edge, rules.counted_cycles) == (NEAR_CYCLES, IN_ALL)


def test_an_uncertainty_recorded_later_is_another_evaluation(store: Store) -> None:
    six_units(store)
    before = evaluation_of(store).provenance.evaluation_key
    state_uncertainty(store, 0.2)
    assert evaluation_of(store).provenance.evaluation_key != before


def test_the_other_rule_gives_the_verdict_of_a_specification_that_states_it(store: Store) -> None:
    six_units(store)
    state_uncertainty(store, 0.2)
    rules = evaluation_of(store).edge_rule
    approved(store, "CC25-G", conditions=conditions("GUARDED"))
    stated = evaluation_of(store, "CC25-G")
    assert rules and stated.verdict == rules.verdict_under_guarded
    assert stated.edge_rule and stated.edge_rule.verdict_under_plain == rules.verdict_under_plain


@pytest.mark.parametrize("rule", ["PLAIN", "GUARDED"])
def test_random_peaks_are_judged_as_a_row_by_row_walk_judges_them(store: Store, rule: str) -> None:
    peaks = np.random.default_rng(41).uniform(31.0, 35.5, 2000).round(3).tolist()
    register(store)
    assign(store, approved(store, conditions=conditions(rule)))
    add_rows(store, run_rows("001", "run-1", peaks, sensor_id="PT-1"))
    state_uncertainty(store, 0.3, 1)
    inside = [peak for peak in peaks if 31.59 <= peak <= 34.91]
    certain = [peak for peak in inside if 31.59 + 0.3 <= peak <= 34.91 - 0.3]
    lot_id = lot_id_of(store)
    [life] = store.read_now(lambda db: lives_of(db, read_lot(db, lot_id), keep=False))
    counted = len(certain) if rule == "GUARDED" else len(inside)
    assert life.totals.counted_cycles == counted
    doubted = life.totals.not_counted_by.get("EDGE_DOUBT", 0)
    assert doubted == (len(inside) - len(certain) if rule == "GUARDED" else 0)
    assert life.edge and life.edge.counted_cycles == len(inside)
    assert life.edge.cycles_at_edge == len(inside) - len(certain)
