"""A plan has only so many places: one more unit does not save it."""

from lives import life, lot, not_started, outcome, provenance, spec
from msgspec import UNSET

from analysis.decision.evaluation import evaluate_lot
from analysis.decision.places import BEYOND_PLAN, in_places
from schemas.lives import UnitLife
from schemas.lot_evidence import LotEvidence
from schemas.specs import Spec


def places(units: int, allowed_failures: int = 0) -> Spec:
    """Units to the target once: R 0.5 at C 0.5 asks 1 target life, 2.42 with one failure."""
    plan = {
        "unit_count": units,
        "planned_cycles": 1_000,
        "allowed_failures": allowed_failures,
        "credit": "TO_PLANNED",
    }
    return spec("WEIBAYES", (0.5, 0.5, 1_000), shape=(2.0, 2.0, 2.0), plan=plan)


TWO_PLACES = places(2)


def run_out(serial: str) -> UnitLife:
    return life(serial, outcome("RUN_OUT", 1_000))


def marked(evidence: LotEvidence) -> list[str]:
    return [each.unit_serial for each in evidence.lives if BEYOND_PLAN in each.marks]


def test_units_up_to_the_places_are_left_as_they_are() -> None:
    evidence = lot([run_out("U1"), run_out("U2")])
    assert in_places(evidence, TWO_PLACES) is evidence
    assert in_places(lot([run_out(f"U{n}") for n in range(9)]), None).lives[8].marks == []


def test_a_unit_too_many_earns_nothing_and_those_not_started_are_the_last() -> None:
    found = in_places(lot([not_started("U0"), run_out("U1"), run_out("U2")]), TWO_PLACES)
    assert marked(found) == ["U0"]
    late = in_places(lot([run_out("U1"), run_out("U2"), run_out("U3")]), TWO_PLACES)
    assert marked(late) == ["U3"]
    assert late.lives[2].worst.credited_cycles == 0
    assert late.lives[2].ending == "RUN_OUT"


def test_the_failure_of_a_unit_too_many_counts() -> None:
    lives = [run_out("U1"), run_out("U2"), life("U3", outcome("FAILED", 400))]
    found = in_places(lot(lives), TWO_PLACES)
    assert found.lives[2].outcome.failed
    evaluation = evaluate_lot(lot(lives), TWO_PLACES, provenance(), None)
    assert (evaluation.verdict, evaluation.evidence.failure_count) == ("REJECT", 1)


def test_a_plan_that_ended_short_is_not_saved_by_one_more_unit() -> None:
    lives = [life("U1", outcome("FAILED", 900)), run_out("U2")]
    short = places(2, allowed_failures=1)
    before = evaluate_lot(lot(lives), short, provenance(), None)
    after = evaluate_lot(lot([*lives, run_out("U3"), run_out("U4")]), short, provenance(), None)
    assert before.verdict == after.verdict == "REJECT"
    assert before.kind is not UNSET and after.kind == before.kind
