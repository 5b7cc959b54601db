"""Excluded failures: the verdict with and without them, and hazards that no verdict hides."""

import msgspec
from lives import life, lot, outcome, provenance, spec

from analysis.decision.evaluation import evaluate_lot
from analysis.decision.exclusions import as_if_counted, excluded_failures, notices_of_lot
from schemas.decisions import Evaluation, ExcludedFailure, UnitNotice, VerdictIfCounted
from schemas.lives import CountedAgain, FailureSeen, LifeNotice, UnitLife
from schemas.specs import SpecReference

# R 0.95 with C 0.90 and no failure asks ln(0.1) / ln(0.95) = 44.89 target lives (trade table of
# the domain brief; the chi-square quantile with two degrees of freedom is a logarithm).
TWELVE = spec(
    "WEIBAYES",
    (0.95, 0.90, 100_000),
    shape=(2.0, 2.0, 2.0),
    plan={"unit_count": 12, "planned_cycles": 200_000, "allowed_failures": 0},
)
RUN_OUTS = [life(f"U-{number:03}", outcome("RUN_OUT", 200_000)) for number in range(1, 12)]
NOTICE = LifeNotice(
    code="NON_RELEVANT_LEAK", seen_as="LEAK", failure_mode="FITTING", record_id="rec_1"
)


def excluded(cycles: int) -> UnitLife:
    """A unit whose failure was signed not to count."""
    failed = outcome("FAILED", cycles)
    seen = FailureSeen(
        seen_as="LEAK",
        failure_mode="FITTING",
        critical=False,
        relevant=False,
        record_id="rec_1",
        counts_less=True,
    )
    return msgspec.structs.replace(
        life("U-012", outcome("SUSPENDED", cycles, has_ended=True)),
        failure=seen,
        if_counted=CountedAgain(outcome=failed, best=failed, worst=failed),
        notices=[NOTICE],
    )


def evaluate(*lives: UnitLife) -> Evaluation:
    reference = SpecReference(spec_id="CC25-T", version=1, hash="sha256:2")
    return evaluate_lot(lot([*lives]), TWELVE, provenance(), reference)


def test_the_verdict_stands_with_and_without_the_exclusion() -> None:
    """11 run-outs of 4 target lives and a suspension of 1.9 squared: 47.61 of 44.89."""
    found = evaluate(*RUN_OUTS, excluded(190_000))
    assert found.verdict == "ACCEPT"
    assert found.verdict_if_counted == VerdictIfCounted(verdict="REJECT", kind="NOT_DEMONSTRATED")
    assert found.excluded_failures == [
        ExcludedFailure(
            unit_id="unit-U-012",
            unit_serial="U-012",
            seen_as="LEAK",
            failure_mode="FITTING",
            relevant=False,
            critical=False,
            counted_cycles=190_000,
            record_id="rec_1",
        )
    ]
    assert found.evidence.failure_count == 0
    line = found.units[-1]
    assert (line.ending, line.counts_less, line.failure_mode) == ("SUSPENDED", True, "FITTING")


def test_an_excluded_failure_is_credited_no_further_than_its_cycle() -> None:
    """11 times 4 and 0.9 squared: 44.81, short of 44.89."""
    found = evaluate(*RUN_OUTS, excluded(90_000))
    assert (found.verdict, found.kind) == ("REJECT", "NOT_DEMONSTRATED")
    assert [reason.code for reason in found.reasons] == ["TARGET_LIVES_SHORT"]


def test_without_an_exclusion_nothing_stands_beside_the_verdict() -> None:
    lives = [*RUN_OUTS, life("U-012", outcome("FAILED", 190_000))]
    found = evaluate(*lives)
    assert (found.excluded_failures, found.verdict_if_counted) == ([], msgspec.UNSET)
    assert as_if_counted(lot(lives)) is None
    assert excluded_failures(lives) == []


def test_the_lot_as_if_counted_has_every_failure_back_at_both_ends_of_its_holds() -> None:
    counted = as_if_counted(lot([*RUN_OUTS, excluded(190_000)]))
    last = counted.lives[-1]
    assert (last.ending, last.outcome.failed, last.best.failed, last.worst.failed) == (
        "FAILED",
        True,
        True,
        True,
    )
    assert counted.lives[:-1] == RUN_OUTS


def test_notices_name_their_unit_and_stand_on_an_accepted_lot() -> None:
    found = evaluate(*RUN_OUTS, excluded(190_000))
    assert found.notices == [
        UnitNotice(
            code="NON_RELEVANT_LEAK",
            unit_id="unit-U-012",
            unit_serial="U-012",
            seen_as="LEAK",
            failure_mode="FITTING",
            record_id="rec_1",
        )
    ]
    assert notices_of_lot(RUN_OUTS) == []
