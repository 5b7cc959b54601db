"""What failure records make of a failure. Expected lives are written from the rules by hand."""

import pytest
from msgspec import UNSET, structs
from reduction_builders import (
    BURST,
    CANNOT_BUILD,
    DECAY,
    LEAK,
    declared,
    evidence,
    failing,
    hold_names,
    inspected,
    spec,
    stretch,
)

from analysis.reduction.failure_analysis import clean_place, failure_id, person
from analysis.reduction.lives import reduce_unit
from schemas.lives import FailureSeen, UnitLife
from schemas.lots import CyclePoint
from schemas.specs import Spec
from schemas.stretches import StretchSummary
from schemas.unit_evidence import FailureAnalysis, SignedFor, UnitEvidence

FITTING = LEAK | {"name": "FITTING", "relevant": False}
RIG_HOSE = DECAY | {"name": "RIG_HOSE", "relevant": False}
WITH_HOSE = spec(DECAY, BURST, CANNOT_BUILD, RIG_HOSE)
INSPECTED = spec(DECAY, LEAK, FITTING, inspection_interval_cycles=1500)
TWO = ("A. Tester", "B. Tester")


def record(mode: str, number: int = 1, **changes: object) -> FailureAnalysis:
    fields = {"record_id": f"rec_{number}", "record_key": f"FA-{number}", "failure_mode": mode}
    return FailureAnalysis(**(fields | changes))


def life(*records: FailureAnalysis, rows: StretchSummary, under: Spec, **more: object) -> UnitLife:
    return reduce_unit(evidence(rows, analyses=[*records], **more), under)


def signed_life(
    *records: FailureAnalysis,
    by: tuple[str, ...] = TWO,
    rows: StretchSummary,
    under: Spec,
    **more: object,
) -> UnitLife:
    """The life once these persons signed the newest record for the failure as it is."""
    found = life(*records, rows=rows, under=under, **more)
    name = found.failure.failure_id
    assert name is not UNSET
    signatures = [SignedFor(failure_id=name, signed_by=each) for each in by]
    newest = structs.replace(records[-1], signatures=signatures)
    return life(*records[:-1], newest, rows=rows, under=under, **more)


def seen(found: UnitLife) -> tuple[str, bool, bool]:
    return found.failure.failure_mode, found.failure.relevant, found.failure.critical


ROWS = failing(700, 501)
"""Over the decay limit from counted cycle 501 on: an exact life of 501."""


def test_without_a_record_a_failure_is_unanalysed_and_takes_the_gravest_mode() -> None:
    found = life(rows=ROWS, under=WITH_HOSE)
    assert seen(found) == ("UNANALYSED", True, False)
    assert (found.ending, found.cycles, found.failure.failure_id) == ("FAILED", 501, UNSET)


def test_a_record_names_the_mode_and_a_later_one_supersedes_it() -> None:
    found = life(record("SEAL_DECAY"), rows=ROWS, under=WITH_HOSE)
    assert seen(found) == ("SEAL_DECAY", True, False)
    assert (found.failure.record_id, found.failure.pending_record_id) == ("rec_1", UNSET)
    later = life(record("SEAL_DECAY"), record("NO_PRESSURE", 2), rows=ROWS, under=WITH_HOSE)
    assert (seen(later)[0], later.failure.record_id) == ("NO_PRESSURE", "rec_2")
    assert (later.ending, later.cycles) == ("FAILED", 501)


def test_a_graver_mode_counts_at_once_and_the_way_back_needs_signatures() -> None:
    """Any change from a relevant or critical mode to a less grave one is signed by two."""
    crack = life(record("THREAD_CRACK"), rows=ROWS, under=WITH_HOSE)
    assert seen(crack) == ("THREAD_CRACK", True, True)
    assert crack.outcome.critical
    records = (record("THREAD_CRACK"), record("SEAL_DECAY", 2))
    back = life(*records, rows=ROWS, under=WITH_HOSE)
    assert (seen(back), back.failure.record_id) == (("THREAD_CRACK", True, True), "rec_1")
    assert (back.failure.pending_record_id, back.failure.pending_mode) == ("rec_2", "SEAL_DECAY")
    signed = signed_life(*records, rows=ROWS, under=WITH_HOSE)
    assert seen(signed) == ("SEAL_DECAY", True, False)
    assert signed.failure.counts_less
    assert (signed.outcome.critical, signed.if_counted.outcome.critical) == (False, True)


def test_an_unanalysed_critical_failure_stays_critical_until_two_signed() -> None:
    hose_burst = BURST | {"name": "RIG_HOSE_BURST", "critical": False}
    under = spec(BURST, hose_burst)
    rows = stretch(500, ends_in_burst=True)
    assert seen(life(rows=rows, under=under)) == ("UNANALYSED", True, True)
    waiting = life(record("RIG_HOSE_BURST"), rows=rows, under=under)
    assert seen(waiting) == ("UNANALYSED", True, True)
    assert seen(signed_life(record("RIG_HOSE_BURST"), rows=rows, under=under)) == (
        "RIG_HOSE_BURST",
        True,
        False,
    )


@pytest.mark.parametrize("by", [(), ("A. Tester",), ("A. Tester", "a.  tester ")])
def test_a_record_of_a_mode_that_is_not_relevant_waits_for_two_persons(by: tuple) -> None:
    found = signed_life(record("RIG_HOSE"), by=by, rows=ROWS, under=WITH_HOSE)
    assert (found.ending, found.cycles, seen(found)) == ("FAILED", 501, ("UNANALYSED", True, False))
    assert (found.failure.pending_mode, found.holds) == ("RIG_HOSE", [])
    assert found.if_counted is UNSET


def test_an_excluded_failure_is_a_suspension_at_its_cycle_with_the_failure_beside_it() -> None:
    found = signed_life(record("RIG_HOSE"), rows=ROWS, under=WITH_HOSE)
    assert (found.ending, found.cycles, found.credited_cycles) == ("SUSPENDED", 501, 501)
    assert seen(found) == ("RIG_HOSE", False, False)
    assert (found.failure.counts_less, found.failure.cycle_in_run) == (True, 501)
    assert (found.outcome.failed, found.outcome.has_ended) == (False, True)
    again = found.if_counted
    assert [o.ending for o in (again.outcome, again.best, again.worst)] == ["FAILED"] * 3
    assert again.outcome.cycles == 501
    # The rows after it are kept and credited to nobody.
    assert found.totals.counted_cycles == 700


def test_signatures_end_with_the_record_and_with_the_failure_that_was_signed() -> None:
    name = life(record("RIG_HOSE"), rows=ROWS, under=WITH_HOSE).failure.failure_id
    signatures = [SignedFor(failure_id=name, signed_by=each) for each in TWO]
    signed = record("RIG_HOSE", signatures=signatures)
    assert life(signed, rows=ROWS, under=WITH_HOSE).ending == "SUSPENDED"
    newer = life(signed, record("RIG_HOSE", 2), rows=ROWS, under=WITH_HOSE)
    assert (newer.ending, newer.failure.pending_record_id) == ("FAILED", "rec_2")
    earlier = failing(700, 301)
    assert life(signed, rows=earlier, under=WITH_HOSE).ending == "FAILED"
    # Another run: the same counter, and another failure all the same.
    elsewhere = structs.replace(ROWS, run_id="run-99")
    assert life(signed, rows=elsewhere, under=WITH_HOSE).ending == "FAILED"


def test_a_specification_under_which_the_mode_counts_takes_the_exclusion_back() -> None:
    name = life(record("RIG_HOSE"), rows=ROWS, under=WITH_HOSE).failure.failure_id
    signatures = [SignedFor(failure_id=name, signed_by=each) for each in TWO]
    signed = record("RIG_HOSE", signatures=signatures)
    strict = spec(DECAY, RIG_HOSE | {"relevant": True})
    found = life(signed, rows=ROWS, under=strict)
    assert (found.ending, seen(found)) == ("FAILED", ("RIG_HOSE", True, False))


@pytest.mark.parametrize(("modes", "critical"), [((DECAY, RIG_HOSE), False), ((BURST,), True)])
def test_a_mode_that_the_specification_does_not_know_counts_as_the_gravest(
    modes: tuple, critical: bool
) -> None:
    rows = ROWS if DECAY in modes else stretch(500, ends_in_burst=True)
    found = life(record("ROD_SPLIT"), rows=rows, under=spec(*modes))
    assert (found.ending, seen(found)) == ("FAILED", ("ROD_SPLIT", True, critical))


def test_an_unknown_mode_makes_a_failure_of_what_the_rows_alone_do_not_count() -> None:
    under = spec(RIG_HOSE)
    assert life(rows=ROWS, under=under).ending == "SUSPENDED"
    found = life(record("ROD_SPLIT"), rows=ROWS, under=under)
    assert (found.ending, found.cycles, seen(found)) == (
        "FAILED",
        501,
        ("ROD_SPLIT", True, False),
    )


def test_hidden_damage_that_is_older_makes_an_exact_life_a_bracket() -> None:
    """A failure seen exactly is credited its full count until its record finds an earlier one."""
    exact = life(record("SEAL_DECAY"), rows=ROWS, under=WITH_HOSE)
    assert (exact.ending, exact.credited_cycles) == ("FAILED", 501)
    found = life(record("SEAL_DECAY", clean_cycles=200), rows=ROWS, under=WITH_HOSE)
    assert (found.ending, found.cycles_low, found.cycles_high) == ("FAILED_BETWEEN", 200, 501)
    assert (found.credited_cycles, found.verified_cycles, found.cycles) == (200, 200, UNSET)


def test_hidden_damage_never_narrows_a_bracket_and_is_not_taken_back_without_signatures() -> None:
    rows = failing(700, 501, missing_before=30)
    wide = life(rows=rows, under=WITH_HOSE)
    assert (wide.cycles_low, wide.cycles_high) == (500, 531)
    later = life(record("SEAL_DECAY", clean_cycles=520), rows=rows, under=WITH_HOSE)
    assert (later.cycles_low, later.cycles_high) == (500, 531)
    records = (record("SEAL_DECAY", clean_cycles=200), record("SEAL_DECAY", 2))
    waiting = life(*records, rows=ROWS, under=WITH_HOSE)
    assert (waiting.ending, waiting.credited_cycles) == ("FAILED_BETWEEN", 200)
    assert waiting.failure.pending_record_id == "rec_2"
    signed = signed_life(*records, rows=ROWS, under=WITH_HOSE)
    assert (signed.ending, signed.cycles) == ("FAILED", 501)
    assert signed.if_counted.outcome.credited_cycles == 200


def test_a_leak_found_at_an_inspection_is_excluded_at_its_count_and_credited_to_the_clean_one() -> (
    None
):
    looks = [inspected(400), inspected(900, leak_class=4)]
    whole = {"rows": stretch(900), "under": INSPECTED, "inspections": looks}
    found = life(record("ROD_LEAK"), **whole)
    assert (found.ending, found.cycles_low, found.cycles_high) == ("FAILED_BETWEEN", 400, 900)
    assert found.failure.failure_mode == "ROD_LEAK"
    excluded = signed_life(record("FITTING"), **whole)
    assert (excluded.ending, excluded.cycles, excluded.credited_cycles) == ("SUSPENDED", 900, 400)
    assert excluded.failure.inspection_key == "insp-90.0"


def test_a_declared_failure_is_excluded_and_another_declared_life_is_not() -> None:
    under = spec(DECAY, RIG_HOSE)

    def known(*lives: object, records: list[FailureAnalysis]) -> UnitEvidence:
        return evidence(declared=[*lives], analyses=records)

    first = reduce_unit(known(declared("FAILED", 700), records=[record("RIG_HOSE")]), under)
    assert (first.ending, first.failure.pending_mode) == ("FAILED", "RIG_HOSE")
    name = first.failure.failure_id
    signed = record(
        "RIG_HOSE", signatures=[SignedFor(failure_id=name, signed_by=each) for each in TWO]
    )
    found = reduce_unit(known(declared("FAILED", 700), records=[signed]), under)
    assert (found.ending, found.credited_cycles) == ("SUSPENDED", 700)
    other = reduce_unit(known(declared("FAILED", 300), records=[signed]), under)
    assert (other.ending, other.cycles) == ("FAILED", 300)


def test_a_record_of_a_unit_that_shows_no_failure_is_asked_about_and_never_dropped() -> None:
    found = life(record("SEAL_DECAY"), rows=stretch(900), under=spec())
    assert hold_names(found.holds) == ["UNIT_SUSPECT_UNCONFIRMED"]
    (hold,) = found.holds
    assert (hold.best.ending, hold.worst.ending) == ("SUSPENDED", "FAILED")
    assert (hold.worst.credited_cycles, hold.evidence[0].raw_code) == (900, "FA-1")
    assert found.worst.failed
    hidden = life(record("SEAL_DECAY", clean_cycles=100), rows=stretch(900), under=spec())
    assert hidden.worst.cycles_low == 100
    assert life(record("RIG_HOSE"), rows=stretch(900), under=WITH_HOSE).holds == []


def test_what_is_void_at_worst_stays_void_when_the_failure_is_excluded() -> None:
    """An over-pressure in the life of an excluded failure is asked about like in any other."""
    rows = structs.replace(
        ROWS,
        tally=structs.replace(ROWS.tally, invalidating_cycles=3),
        persistent=structs.replace(
            ROWS.persistent,
            up_to=structs.replace(ROWS.persistent.up_to, invalidating_cycles=3),
        ),
    )
    under = spec(DECAY, RIG_HOSE, conditions={"pressure_invalidation_mpa": 36.58})
    assert life(record("RIG_HOSE"), rows=rows, under=under).worst.ending == "FAILED"
    found = signed_life(record("RIG_HOSE"), rows=rows, under=under)
    assert (found.best.ending, found.worst.ending) == ("SUSPENDED", "VOID")


def test_a_failure_keeps_its_name_while_its_count_moves_and_one_without_a_place_is_its_count() -> (
    None
):
    placed = FailureSeen(
        seen_as="DECAY",
        failure_mode="UNANALYSED",
        critical=False,
        relevant=True,
        rig_id="RIG-A",
        run_id="run-01",
        cycle_in_run=501,
    )
    assert failure_id(placed, (501,)) == failure_id(placed, (9501,))
    named = structs.replace(placed, failure_mode="RIG_HOSE", relevant=False)
    assert failure_id(named, (501,)) == failure_id(placed, (501,))
    assert failure_id(placed, (501,)) != failure_id(
        structs.replace(placed, cycle_in_run=502), (501,)
    )
    bare = FailureSeen(
        seen_as="NOT_RECORDED", failure_mode="UNANALYSED", critical=False, relevant=True
    )
    assert failure_id(bare, (501,)) != failure_id(bare, (500,))


def test_a_clean_point_is_found_in_its_run_first_lap_first() -> None:
    laps = [stretch(500, key=1), stretch(300, key=1, hour=2)]
    point = CyclePoint(rig_id="RIG-A", run_id=laps[0].run_id, cycle_in_run=300)
    place = clean_place(point, laps)
    assert (place.stretch_no, place.ends_stretch, place.last_cycle_in_run) == (0, False, 300)
    assert clean_place(structs.replace(point, cycle_in_run=500), laps).ends_stretch
    assert clean_place(structs.replace(point, run_id="elsewhere"), laps) is None
    assert clean_place(structs.replace(point, cycle_in_run=501), laps) is None


def test_two_spellings_of_a_name_are_one_person() -> None:
    assert person("A. Tester") == person(" a.  TESTER")
    assert person("A. Tester") != person("B. Tester")
