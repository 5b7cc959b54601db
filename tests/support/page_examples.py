"""Built answers for the tests of pages: the clamp cylinder lots of the demo, written by hand."""

from __future__ import annotations

from datetime import UTC, datetime

from msgspec import UNSET, structs
from page_builders import (
    NEEDED,
    PARTS_BELOW,
    PLANNED,
    REFERENCE,
    SPEC_HASH,
    TARGET,
    attribute_view,
    evaluation,
    lot,
    requirement,
    run_outs,
    spec_version,
    unit_line,
)

from schemas.decisions import (
    Decision,
    Estimates,
    Evaluation,
    Reason,
    UnderHolds,
    Views,
    WayToFinish,
)
from schemas.estimates import WeibullFit
from schemas.holds import Alternative, Hold, HoldAnswer, HoldEvidence
from schemas.lives import CycleTotals, FailureSeen, Outcome, StretchLine, UnitLife, UpToEnding

__all__ = ["SPEC_HASH", "attribute_view", "lot", "run_outs", "spec_version", "unit_line"]


def accepted() -> Evaluation:
    """Twelve survivors."""
    return evaluation(
        "L01",
        run_outs("L01", 12),
        "ACCEPT",
        views=Views(decides="VARIABLES", attribute="NOT_DEMONSTRATED", variables="ACCEPT"),
    )


def not_demonstrated() -> Evaluation:
    """One failure beyond the target where none is allowed."""
    failed = unit_line(
        "L02-012",
        "FAILED",
        163_619,
        failure_mode="UNANALYSED",
        seen_as="DECAY",
        component_batch="SB-11",
        marks=["CYCLED_AFTER_FAILURE"],
    )
    reason = Reason(code="ALLOWED_FAILURES_EXCEEDED", failure_count=1, allowed_failures=0)
    return evaluation(
        "L02",
        [*run_outs("L02", 11), failed],
        "REJECT",
        reason,
        kind="NOT_DEMONSTRATED",
        views=Views(
            decides="VARIABLES", attribute="NOT_DEMONSTRATED", variables="NOT_DEMONSTRATED"
        ),
        options_needing_new_spec=[
            WayToFinish(
                kind="NEW_ATTRIBUTE_TEST", unit_count=45, cycles_each=TARGET, allowed_failures=0
            ),
            WayToFinish(
                kind="NEW_WEIBAYES_TEST", unit_count=20, cycles_each=PLANNED, allowed_failures=1
            ),
        ],
    )


def shown_below() -> Evaluation:
    """Seven failures, two of them found at inspections."""
    lives = [38_512, 71_090, 96_044, 121_377, 154_208]
    failed = [
        unit_line(f"L03-{number:03}", "FAILED", cycles, failure_mode="piston-seal decay")
        for number, cycles in enumerate(lives, start=1)
    ]
    between = [
        unit_line(
            f"L03-{number:03}",
            "FAILED_BETWEEN",
            high,
            cycles=UNSET,
            cycles_low=low,
            cycles_high=high,
            credited_cycles=low,
            plan_credit_cycles=low,
            failure_mode="rod-seal external leak",
            seen_as="LEAK",
        )
        for number, (low, high) in enumerate([(59_120, 88_940), (119_300, 148_700)], start=6)
    ]
    return evaluation(
        "L03",
        [*failed, *between, *run_outs("L03", 5, first=8)],
        "REJECT",
        Reason(code="ALLOWED_FAILURES_EXCEEDED", failure_count=7, allowed_failures=0),
        PARTS_BELOW,
        kind="SHOWN_BELOW_REQUIREMENT",
        views=Views(
            decides="VARIABLES",
            attribute="SHOWN_BELOW_REQUIREMENT",
            variables="SHOWN_BELOW_REQUIREMENT",
        ),
        estimates=Estimates(
            weibull_fit=WeibullFit(
                scale_cycles=203_411.7,
                shape=2.131,
                log_likelihood=-91.2,
                unit_count=12,
                failure_count=7,
                iteration_count=11,
            )
        ),
    )


def unfinished() -> Evaluation:
    """Units part of the way, one stopped, one void, one not started."""
    running = [
        unit_line(f"L08-{number:03}", "RUNNING", 120_000 + number, credited_cycles=119_800)
        for number in range(1, 10)
    ]
    others = [
        unit_line("L08-010", "SUSPENDED", 84_310, marks=["COUNTER_RESET"]),
        unit_line("L08-011", "VOID", 51_000, credited_cycles=0, plan_credit_cycles=0),
        unit_line("L08-012", "RUNNING", 0, marks=["NOT_STARTED"]),
    ]
    return evaluation(
        "L08",
        [*running, *others],
        "CONTINUE",
        Reason(code="PLAN_NOT_FINISHED", target_lives=13.6, target_lives_required=NEEDED),
        still_needed=[
            WayToFinish(
                kind="FINISH_DECLARED_UNITS",
                unit_count=8,
                cycles_each=PLANNED,
                cycles_in_all=755_000,
                target_lives_missing=31.2906,
            )
        ],
        marks=["SPEC_AFTER_DATA"],
    )


def held() -> Evaluation:
    """An unexplained stop and conflicting rows on which the verdict hangs."""
    stopped = unit_line(
        "L05-011", "SUSPENDED", 141_220, hold_names=["UNEXPLAINED_STOP"], marks=["ROWS_MISSING"]
    )
    conflicting = unit_line("L05-012", "RUN_OUT", PLANNED, hold_names=["CONFLICTING_ROWS"])
    return evaluation(
        "L05",
        [*run_outs("L05", 10), stopped, conflicting],
        "HOLD",
        Reason(code="OPEN_HOLDS", unit_serials=["L05-011", "L05-012"]),
        robust_to_open_holds=False,
        holds=holds(),
        under_holds=UnderHolds(best="CONTINUE", worst="REJECT", worst_kind="NOT_DEMONSTRATED"),
        still_needed=[WayToFinish(kind="DECIDE_HOLDS", unit_serials=["L05-011", "L05-012"])],
    )


def decided_holds() -> list[Hold]:
    """The two open items, one decided for the lot and one against it."""
    answers = [
        HoldAnswer(
            choice=choice,
            meaning="stop cleared after inspection",
            reason="dry at the inspection that followed",
            signed_at=datetime(2026, 11, 20, 9, 30, tzinfo=UTC),
            signed_by="Test engineer",
        )
        for choice in ("BEST", "WORST")
    ]
    pairs = zip(holds(), answers, strict=True)
    return [structs.replace(hold, answer=answer) for hold, answer in pairs]


def holds() -> list[Hold]:
    """Two open items."""
    return [
        Hold(
            hold_id="hold_1",
            name="UNEXPLAINED_STOP",
            lot_number="L05",
            unit_id="unit_l05-011",
            unit_serial="L05-011",
            evidence=[
                HoldEvidence(
                    rig_id="RIG-B",
                    run_id="B-0311",
                    station_no=4,
                    from_cycle_in_run=80_112,
                    raw_code="E77",
                )
            ],
            best=Alternative(ending="SUSPENDED", credited_cycles=141_220, failed=False),
            worst=Alternative(ending="FAILED", credited_cycles=141_220, failed=True),
        ),
        Hold(
            hold_id="hold_2",
            name="CONFLICTING_ROWS",
            lot_number="L05",
            unit_id="unit_l05-012",
            unit_serial="L05-012",
            evidence=[HoldEvidence(rig_id="RIG-A", run_id="A-0207", cycles=3)],
            best=Alternative(ending="RUN_OUT", credited_cycles=PLANNED, failed=False),
            worst=Alternative(ending="SUSPENDED", credited_cycles=PLANNED - 3, failed=False),
        ),
    ]


def without_spec() -> Evaluation:
    """A lot that nobody registered."""
    units = [unit_line("X-1", "RUNNING", 4_000), unit_line("X-2", "FAILED", 2_000)]
    return evaluation(
        "X77",
        units,
        "HOLD",
        Reason(code="NO_SPEC"),
        requirements=[],
        spec=UNSET,
        views=UNSET,
        marks=["UNREGISTERED"],
    )


def by_attributes() -> Evaluation:
    """An attribute plan, accepted."""
    units = [
        unit_line(f"L09-{number:03}", "RUN_OUT", TARGET, credited_cycles=TARGET)
        for number in range(1, 46)
    ]
    result = requirement(units, "ACCEPT", [], plan_kind="ATTRIBUTE")
    views = Views(decides="ATTRIBUTE", attribute="ACCEPT")
    return evaluation("L09", units, "ACCEPT", requirements=[result], views=views)


def every_kind() -> dict[str, Evaluation]:
    """One evaluation for each verdict, kind of refusal and kind of plan."""
    return {
        "accepted": accepted(),
        "by-attributes": by_attributes(),
        "held": held(),
        "not-demonstrated": not_demonstrated(),
        "shown-below": shown_below(),
        "unfinished": unfinished(),
        "without-spec": without_spec(),
    }


def decision(of: Evaluation, *, outdated: bool = False) -> Decision:
    """A recorded verdict."""
    return Decision(
        decision_id="dec_1",
        lot_id=of.lot_id,
        lot_number=of.lot_number,
        verdict=of.verdict,
        kind=of.kind,
        reasons=of.reasons,
        spec=REFERENCE,
        evaluation_key=of.provenance.evaluation_key,
        meaning="reviewed and approved",
        reason="All end checks are clean.",
        decided_at=datetime(2026, 11, 26, 9, 30, tzinfo=UTC),
        decided_by="quality system",
        actor_kind="SYSTEM",
        evaluation=of,
        decision_outdated=outdated,
    )


def unit_life(ending: str = "FAILED") -> UnitLife:
    """A unit in three stretches that failed by decay, with one open item."""
    outcome = Outcome(
        ending="FAILED",
        credited_cycles=163_619,
        most_cycles=163_619,
        failed=True,
        has_ended=True,
        cycles=163_619,
    )
    return UnitLife(
        unit_id="unit_l02-012",
        lot_number="L02",
        unit_serial="L02-012",
        ending=ending,  # type: ignore[arg-type]
        credited_cycles=163_619,
        totals=CycleTotals(
            logged_cycles=165_200,
            counted_cycles=163_900,
            not_counted_cycles=1_300,
            not_counted_by={"UNDER_PRESSURE": 400, "TEMPERATURE": 900, "OTHER": 0},
            not_counted_by_every={"UNDER_PRESSURE": 400, "TEMPERATURE": 950},
            unlogged_cycles=120,
        ),
        up_to_ending=UpToEnding(logged_cycles=164_919, counted_cycles=163_619),
        verified_cycles=163_619,
        marks=["COUNTER_RESET", "CYCLED_AFTER_FAILURE"],
        holds=[],
        stretches=[
            _stretch("A-0101", 1, 0, 61_000),
            _stretch("A-0102", 1, 61_000, 54_100),
            _stretch("A-0102", 2, 115_100, 48_800),
        ],
        best=outcome,
        worst=outcome,
        outcome=outcome,
        cycles=163_619,
        failure=FailureSeen(
            seen_as="DECAY",
            failure_mode="UNANALYSED",
            critical=False,
            relevant=True,
            rig_id="RIG-A",
            run_id="A-0102",
            cycle_in_run=48_921,
        ),
        component_batch="SB-11",
        last_rig_id="RIG-A",
        last_station_no=3,
        last_row_at=datetime(2026, 10, 20, 3, 14, 15, tzinfo=UTC),
    )


def _stretch(run_id: str, lap: int, before: int, counted: int) -> StretchLine:
    return StretchLine(
        rig_id="RIG-A",
        run_id=run_id,
        station_no=3,
        lap=lap,
        first_cycle_in_run=1,
        last_cycle_in_run=counted + 400,
        first_started_at=datetime(2026, 10, 1, 6, tzinfo=UTC),
        last_started_at=datetime(2026, 10, 3, 6, tzinfo=UTC),
        logged_cycles=counted + 400,
        counted_cycles=counted,
        not_counted_by={"TEMPERATURE": 400},
        unlogged_cycles=0,
        counted_before=before,
        stop_class="RIG_STOP",
        stop_reason="GUARD",
    )
