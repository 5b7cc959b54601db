"""References: sums on the fingers."""

from lives import held_life, life, not_started, outcome, spec

from analysis.decision.lot_figures import evidence_figures, unit_line
from analysis.decision.terms import terms_of

SPEC = spec(
    "WEIBAYES",
    (0.95, 0.9, 100),
    (0.99, 0.9, 50),
    shape=(2.0, 2.2, 2.6),
    plan={"unit_count": 4, "allowed_failures": 0, "planned_cycles": 200, "credit": "TO_PLANNED"},
)
TERMS = [terms_of(SPEC, each, after_data=False) for each in SPEC.requirement]


def test_the_evidence_counts_units_endings_and_cycles() -> None:
    figures = evidence_figures(
        [
            life("U-001", outcome("RUN_OUT", 230)),
            life("U-002", outcome("FAILED", 150)),
            life("U-003", outcome("RUNNING", 90, credited=80)),
            not_started("U-004"),
        ],
        open_hold_count=2,
    )
    assert (figures.unit_count, figures.started_count, figures.ended_count) == (4, 3, 2)
    assert (figures.failure_count, figures.open_hold_count) == (1, 2)
    assert (figures.counted_cycles, figures.credited_cycles) == (470, 460)


def test_a_line_shows_both_what_was_credited_and_what_the_plan_takes() -> None:
    line = unit_line(life("U-001", outcome("RUN_OUT", 230), marks=["COUNTER_RESET"]), TERMS)
    assert (line.cycles, line.credited_cycles, line.plan_credit_cycles) == (230, 230, 200)
    assert line.marks == ["COUNTER_RESET"]
    assert not line.after_credit
    assert not line.failure_mode


def test_without_a_specification_nothing_is_capped() -> None:
    line = unit_line(life("U-001", outcome("FAILED", 230)), [])
    assert (line.plan_credit_cycles, line.after_credit) == (230, False)


def test_a_failure_beyond_the_credit_is_shown_as_such() -> None:
    late = unit_line(life("U-001", outcome("FAILED", 201)), TERMS)
    at_planned = unit_line(life("U-002", outcome("FAILED", 200)), TERMS)
    assert (late.after_credit, at_planned.after_credit) == (True, False)
    assert (late.ending, late.failure_mode, late.seen_as) == ("FAILED", "UNANALYSED", "DECAY")


def test_a_bracket_shows_its_two_ends_and_no_life() -> None:
    line = unit_line(life("U-001", outcome("FAILED_BETWEEN", (120, 180))), TERMS)
    assert (line.cycles_low, line.cycles_high, line.plan_credit_cycles) == (120, 180, 120)
    assert not line.cycles


def test_a_line_names_the_holds_of_its_unit() -> None:
    held = held_life(
        "U-001",
        best=outcome("SUSPENDED", 90),
        worst=outcome("FAILED", 90),
        name="UNEXPLAINED_STOP",
    )
    assert unit_line(held, TERMS).hold_names == ["UNEXPLAINED_STOP"]
