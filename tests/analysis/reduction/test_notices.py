"""Notices about a unit: hazards that no verdict hides."""

from reduction_builders import (
    BURST,
    DECAY,
    LEAK,
    declared,
    evidence,
    failing,
    inspected,
    spec,
    stretch,
)

from analysis.reduction.lives import reduce_unit
from schemas.lives import LifeNotice, UnitLife
from schemas.specs import Spec
from schemas.stretches import StretchSummary
from schemas.unit_evidence import FailureAnalysis, SignedFor

FITTING = LEAK | {"name": "FITTING", "relevant": False}
RIG_HOSE = DECAY | {"name": "RIG_HOSE", "relevant": False}


def life(rows: StretchSummary, under: Spec, **more: object) -> UnitLife:
    return reduce_unit(evidence(rows, **more), under)


def test_a_sound_unit_and_an_ordinary_failure_raise_no_notice() -> None:
    assert life(stretch(900), spec()).notices == []
    assert life(failing(700, 501), spec()).notices == []


def test_a_critical_failure_raises_one_whatever_the_plan_allows() -> None:
    allowed = spec(DECAY, BURST, plan={"allowed_failures": 1})
    assert life(stretch(500, ends_in_burst=True), allowed).notices == [
        LifeNotice(code="CRITICAL_FAILURE_SEEN", seen_as="BURST", failure_mode="UNANALYSED")
    ]


def test_a_leak_that_an_inspector_calls_not_relevant_raises_one() -> None:
    looks = [inspected(400, leak_class=5, failure_mode="FITTING"), inspected(900)]
    found = life(stretch(900), spec(DECAY, LEAK, FITTING), inspections=looks)
    assert found.outcome.failed is False
    assert found.notices == [
        LifeNotice(
            code="NON_RELEVANT_LEAK",
            seen_as="LEAK",
            failure_mode="FITTING",
            inspection_key="insp-40.0",
        )
    ]


def test_a_leak_below_the_limit_raises_none() -> None:
    looks = [inspected(400, leak_class=2, failure_mode="FITTING")]
    assert life(stretch(900), spec(DECAY, LEAK, FITTING), inspections=looks).notices == []


def test_a_failed_function_check_of_no_relevance_is_no_leak() -> None:
    knob = LEAK | {"name": "KNOB", "seen_as": "FUNCTION", "relevant": False}
    looks = [inspected(400, function_check="FAIL")]
    assert life(stretch(900), spec(DECAY, knob), inspections=looks).notices == []


def test_an_excluded_loss_of_pressure_raises_one_with_its_record() -> None:
    under, rows = spec(DECAY, RIG_HOSE), failing(700, 501)
    record = FailureAnalysis(record_id="rec_1", record_key="FA-1", failure_mode="RIG_HOSE")
    name = life(rows, under, analyses=[record]).failure.failure_id
    signed = FailureAnalysis(
        record_id="rec_1",
        record_key="FA-1",
        failure_mode="RIG_HOSE",
        signatures=[SignedFor(failure_id=name, signed_by=each) for each in ("A", "B")],
    )
    assert life(rows, under, analyses=[signed]).notices == [
        LifeNotice(
            code="NON_RELEVANT_LEAK",
            seen_as="DECAY",
            failure_mode="RIG_HOSE",
            record_id="rec_1",
        )
    ]


def test_a_declared_failure_shows_as_its_mode_does() -> None:
    found = reduce_unit(
        evidence(declared=[declared("FAILED", 700, "FITTING")]), spec(DECAY, FITTING)
    )
    assert [notice.code for notice in found.notices] == ["NON_RELEVANT_LEAK"]
