"""The rule at the edges of the band, with every figure worked out by hand.

The guarded band, limit less expanded uncertainty at both ends, is the guarded acceptance of
ISO 14253-1 and JCGM 106 (from memory). The band is 31.59 to 34.91 MPa.
"""

import pytest
from msgspec import UNSET
from reduction_builders import evidence, failing, hold_names, spec, stretch

from analysis.reduction.edge_rule import (
    ONLY_EDGE_DOUBT,
    edge_parameters,
    edge_share_of,
    edge_share_together,
    edge_tallies,
    other_rule,
    plain_counted,
    unsure_cycles,
    with_edge_rule,
)
from analysis.reduction.lives import reduce_unit
from schemas.edge_rules import EdgeShare
from schemas.holds import HoldAnswer
from schemas.specs import Spec
from schemas.stretches import CycleTally

PLAIN = spec(conditions={"pressure_invalidation_mpa": 36.58})
GUARDED = with_edge_rule(PLAIN, "GUARDED")


def limits(chosen: Spec, uncertainty: float | None) -> dict[str, float | None]:
    return edge_parameters(chosen, uncertainty, slack_mpa=0.0)


def test_a_specification_that_does_not_say_lets_the_reading_decide() -> None:
    assert spec().conditions.edge_rule == "PLAIN"
    assert (other_rule(PLAIN), other_rule(GUARDED)) == ("GUARDED", "PLAIN")
    assert with_edge_rule(GUARDED, "PLAIN") == PLAIN


def test_a_guarded_band_is_narrowed_by_the_uncertainty_at_both_ends() -> None:
    given = limits(GUARDED, 0.30)
    assert given["doubted_above_mpa"] == pytest.approx(34.61)
    assert given["doubted_below_mpa"] == pytest.approx(31.89)
    # What may have been above the limit that invalidates is taken to have been.
    assert given["invalidation_mpa"] == pytest.approx(36.28)


def test_under_the_plain_rule_edges_are_known_and_nothing_is_refused_for_them() -> None:
    given = limits(PLAIN, 0.30)
    assert given["edge_above_mpa"] == pytest.approx(34.61)
    assert given["edge_below_mpa"] == pytest.approx(31.89)
    assert (given["doubted_above_mpa"], given["doubted_below_mpa"]) == (None, None)
    assert given["invalidation_mpa"] == pytest.approx(36.58)


@pytest.mark.parametrize("chosen", [PLAIN, GUARDED])
def test_without_an_uncertainty_there_are_no_edges(chosen: Spec) -> None:
    given = limits(chosen, None)
    assert given == {
        "edge_above_mpa": None,
        "edge_below_mpa": None,
        "doubted_above_mpa": None,
        "doubted_below_mpa": None,
        "invalidation_mpa": pytest.approx(36.58),
    }


def test_limits_include_both_ends_of_the_guarded_band_too() -> None:
    given = edge_parameters(GUARDED, 0.30, slack_mpa=0.01)
    assert given["doubted_above_mpa"] == pytest.approx(34.62)
    assert given["doubted_below_mpa"] == pytest.approx(31.88)
    assert given["invalidation_mpa"] == pytest.approx(36.29)


def test_a_cycle_is_at_an_edge_only_if_nothing_else_keeps_it_from_counting() -> None:
    assert edge_tallies(0, 5) == (5, 5)
    assert edge_tallies(ONLY_EDGE_DOUBT, 5) == (5, 5)
    # Found out by a calibration: only the true pressure is near the edge.
    assert edge_tallies(4 + ONLY_EDGE_DOUBT, 5) == (5, 5)
    # Out of temperature: not counted either way. Short of pressure: outside either band.
    assert edge_tallies(256 + ONLY_EDGE_DOUBT, 5) == (0, 5)
    assert edge_tallies(16, 5) == (0, 0)


def test_the_share_is_of_the_cycles_that_count_where_the_reading_decides() -> None:
    plain = [stretch(1000, uncertainty_mpa=0.2, at_edge_cycles=50)]
    guarded = [stretch(950, uncertainty_mpa=0.2, at_edge_cycles=50)]
    wanted = EdgeShare(
        uncertainty_known=True,
        counted_cycles=1000,
        cycles_at_edge=50,
        share_at_edge=0.05,
        uncertainty_mpa=0.2,
    )
    assert edge_share_of(plain, PLAIN) == wanted
    assert edge_share_of(guarded, GUARDED) == wanted
    assert plain_counted(guarded[0], "GUARDED") == 1000


def test_a_stretch_without_an_uncertainty_is_left_out_and_said() -> None:
    stretches = [
        stretch(600, uncertainty_mpa=0.2, at_edge_cycles=60),
        stretch(400, key=2, hour=2),
        stretch(0, key=3, hour=4),
    ]
    found = edge_share_of(stretches, PLAIN)
    assert found and (found.uncertainty_known, found.counted_cycles) == (False, 600)
    assert found.share_at_edge == pytest.approx(0.1)
    assert edge_share_of([stretches[1]], PLAIN) is UNSET


def test_units_are_added_up() -> None:
    first = edge_share_of([stretch(600, uncertainty_mpa=0.2, at_edge_cycles=60)], PLAIN)
    second = edge_share_of([stretch(200, uncertainty_mpa=0.3)], PLAIN)
    assert first and second
    found = edge_share_together([first, second])
    assert found and (found.counted_cycles, found.cycles_at_edge) == (800, 60)
    assert (found.share_at_edge, found.uncertainty_mpa) == (0.075, 0.3)
    assert edge_share_together([]) is UNSET


# The hold -------------------------------------------------------------------------------------


def test_a_guarded_band_without_an_uncertainty_is_held_and_its_cycles_may_not_count() -> None:
    known, unknown = stretch(600, uncertainty_mpa=0.2), stretch(400, key=2, hour=2)
    life = reduce_unit(evidence(known, unknown), GUARDED)
    assert hold_names(life.holds) == ["UNCERTAINTY_NOT_RECORDED"]
    (where,) = life.holds[0].evidence
    assert (where.run_id, where.cycles) == ("run-02", 400)
    assert (life.best.credited_cycles, life.worst.credited_cycles) == (1000, 600)
    assert life.outcome.credited_cycles == 1000


def test_the_plain_rule_needs_no_uncertainty() -> None:
    assert reduce_unit(evidence(stretch(1000)), PLAIN).holds == []
    assert unsure_cycles(PLAIN)(stretch(1000)) == 0


def test_a_failure_is_never_undone_by_an_uncertainty_that_nobody_recorded() -> None:
    life = reduce_unit(evidence(failing(500, 496)), GUARDED)
    assert (life.best.failed, life.worst.failed) == (True, True)
    assert (life.best.cycles, life.worst.cycles) == (496, 0)


@pytest.mark.parametrize(("choice", "credited"), [("BEST", 1000), ("WORST", 600)])
def test_a_signed_answer_settles_whether_those_cycles_count(choice: str, credited: int) -> None:
    known, unknown = stretch(600, uncertainty_mpa=0.2), stretch(400, key=2, hour=2)
    about = evidence(known, unknown)
    (hold,) = reduce_unit(about, GUARDED).holds
    answer = HoldAnswer(
        choice=choice,  # type: ignore[arg-type]
        meaning="reviewed",
        reason="the sensor's certificate is in the file",
        signed_at=known.first_started_at,
        signed_by="somebody",
    )
    life = reduce_unit(about, GUARDED, {hold.hold_id: answer})
    assert (life.holds, hold_names(life.decided_holds)) == ([], ["UNCERTAINTY_NOT_RECORDED"])
    reached = {life.best.credited_cycles, life.worst.credited_cycles, life.outcome.credited_cycles}
    assert reached == {credited}


def test_clipped_and_unsure_cycles_are_taken_off_once_each() -> None:
    chosen = with_edge_rule(spec(reduction={"clipped_cycles": 3}), "GUARDED")
    clipped = stretch(
        600,
        uncertainty_mpa=0.2,
        clipped_counted_cycles=10,
        tally=CycleTally(test_cycles=600, clipped_cycles=10),
    )
    about = evidence(clipped, stretch(400, key=2, hour=2))
    life = reduce_unit(about, chosen)
    assert sorted(hold_names(life.holds)) == ["PEAK_CLIPPED", "UNCERTAINTY_NOT_RECORDED"]
    assert life.worst.credited_cycles == 1000 - 10 - 400
