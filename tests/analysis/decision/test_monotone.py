"""What must hold for every lot: more that is good never hurts, more that is bad never helps."""

from typing import Any

import msgspec
from hypothesis import assume, given
from hypothesis import strategies as st
from lives import lives_of, lot, outcome, provenance, spec

from analysis.decision.evaluation import evaluate_lot
from analysis.decision.spec_checks import approval_faults
from schemas.decisions import Evaluation
from schemas.lives import Outcome
from schemas.specs import Spec

PLANNED, TARGET = 2_000, 1_000

failures = st.integers(1, 2_400).map(lambda cycles: outcome("FAILED", cycles))
brackets = st.tuples(st.integers(0, 2_200), st.integers(1, 400)).map(
    lambda ends: outcome("FAILED_BETWEEN", (ends[0], ends[0] + ends[1]))
)
survivors = st.integers(PLANNED, 2_400).map(lambda cycles: outcome("RUN_OUT", cycles))
unfinished = st.integers(0, PLANNED - 1).map(lambda cycles: outcome("RUNNING", cycles))
unit_lists = st.lists(st.one_of(survivors, survivors, failures, brackets, unfinished), max_size=12)


@st.composite
def specs(draw: st.DrawFn) -> Spec:
    """Plans of all three kinds that small lots can accept, continue and refuse."""
    kind = draw(st.sampled_from(["ATTRIBUTE", "TO_PLANNED", "ONCE_AT_TARGET"]))
    low = draw(st.floats(0.8, 2.0))
    plan: dict[str, Any] = {
        "unit_count": draw(st.integers(3, 8)),
        "allowed_failures": draw(st.integers(0, 2)),
        "planned_cycles": PLANNED,
    }
    if kind != "ATTRIBUTE":
        plan["credit"] = kind
    return spec(
        "ATTRIBUTE" if kind == "ATTRIBUTE" else "WEIBAYES",
        (draw(st.floats(0.4, 0.9)), draw(st.floats(0.5, 0.9)), TARGET),
        shape=(low, low, low + draw(st.floats(0.0, 2.0))),
        plan=plan,
    )


def evaluate(units: list[Outcome], against: Spec) -> Evaluation:
    """With a place for every unit: which one comes too late is told in test_places."""
    if len(units) > against.plan.unit_count:
        plan = msgspec.structs.replace(against.plan, max_units=len(units))
        against = msgspec.structs.replace(against, plan=plan)
    return evaluate_lot(lot(lives_of(units)), against, provenance(), None)


@given(units=unit_lists, survivor=survivors, against=specs())
def test_one_survivor_more_never_turns_acceptance_into_refusal(
    units: list[Outcome], survivor: Outcome, against: Spec
) -> None:
    if evaluate(units, against).verdict == "ACCEPT":
        assert evaluate([*units, survivor], against).verdict == "ACCEPT"


@given(units=unit_lists.filter(bool), data=st.data(), against=specs())
def test_a_unit_that_fails_instead_never_turns_refusal_into_acceptance(
    units: list[Outcome], data: st.DataObject, against: Spec
) -> None:
    index = data.draw(st.integers(0, len(units) - 1))
    at = data.draw(st.integers(0, units[index].credited_cycles))
    failed = [*units[:index], outcome("FAILED", at), *units[index + 1 :]]
    before, after = (evaluate(each, against).verdict for each in (units, failed))
    assert (before, after) not in {("REJECT", "ACCEPT"), ("CONTINUE", "ACCEPT")}


@given(units=unit_lists, against=specs(), factor=st.integers(2, 50))
def test_cycles_counted_in_another_unit_give_the_same_verdict(
    units: list[Outcome], against: Spec, factor: int
) -> None:
    def longer(result: Outcome) -> Outcome:
        counts = ("credited_cycles", "most_cycles", "cycles", "cycles_low", "cycles_high")
        values = {name: getattr(result, name) for name in counts}
        return msgspec.structs.replace(
            result,
            **{name: value * factor for name, value in values.items() if value is not None},
        )

    plan = msgspec.structs.replace(against.plan, planned_cycles=PLANNED * factor)
    requirement = msgspec.structs.replace(against.requirement[0], target_cycles=TARGET * factor)
    scaled = msgspec.structs.replace(against, plan=plan, requirement=[requirement])
    first, second = evaluate(units, against), evaluate([longer(each) for each in units], scaled)
    assert (first.verdict, first.kind) == (second.verdict, second.kind)
    assert [reason.code for reason in first.reasons] == [reason.code for reason in second.reasons]


@given(units=unit_lists, against=specs())
def test_the_order_of_units_changes_nothing_but_their_lines(
    units: list[Outcome], against: Spec
) -> None:
    first, second = evaluate(units, against), evaluate(units[::-1], against)
    assert (first.verdict, first.kind) == (second.verdict, second.kind)
    assert first.evidence == second.evidence


@given(units=unit_lists, against=specs())
def test_so_many_units_as_are_asked_for_finish_the_plan_and_one_fewer_does_not(
    units: list[Outcome], against: Spec
) -> None:
    assume(approval_faults(against) == [])
    answer = evaluate(units, against)
    limit = TARGET if against.plan.credit == "ONCE_AT_TARGET" else PLANNED
    not_listed = [outcome("RUNNING", 0)] * max(0, against.plan.unit_count - len(units))
    declared = sorted([*units, *not_listed], key=lambda each: each.credited_cycles)
    may_run = [each for each in declared if each.ending == "RUNNING" and lacks(each, limit)]
    others = [each for each in declared if each not in may_run]

    def verdict_after(count: int) -> str:
        finished = [outcome("RUNNING", limit)] * count
        return evaluate([*others, *finished, *may_run[count:]], against).verdict

    if answer.verdict != "CONTINUE" or verdict_after(len(may_run)) != "ACCEPT":
        return
    (way,) = answer.still_needed
    assert way.kind == "FINISH_DECLARED_UNITS"
    assert isinstance(way.unit_count, int)
    assert verdict_after(way.unit_count) == "ACCEPT"
    assert verdict_after(way.unit_count - 1) != "ACCEPT"


def lacks(result: Outcome, limit: int) -> bool:
    """Whether a running unit has cycles left before its credit stops."""
    return result.credited_cycles < limit
