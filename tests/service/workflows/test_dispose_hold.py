"""A person decides a hold: only what was read, with the verdict before and after."""

from collections.abc import AsyncIterator
from pathlib import Path

import msgspec
import pytest
from bodies import attribute_spec
from lots_by_hand import GOOD, LOT, rows_table, run_rows
from stores import StandingClock

from schemas.decisions import NewDecision
from schemas.dispositions import NewDisposition
from schemas.lots import NewAssignment, NewLot, NewUnit, NewUnits, RigSettings
from schemas.specs import Spec, SpecApproval
from service.errors import Conflict, NotFound, PersonNeeded, StaleVersion
from service.settings import Settings
from service.storage import memos
from service.tokens import Actor
from service.workflows.application import Application

pytestmark = pytest.mark.anyio
SERIALS = ("001", "002")
TWO_UNITS = {"kind": "ATTRIBUTE", "unit_count": 2, "planned_cycles": 20, "allowed_failures": 0}
BEST = NewDisposition(choice="BEST", meaning="hold decided", reason="the guard was opened")
WORST = NewDisposition(choice="WORST", meaning="hold decided", reason="fluid on the floor")
CODES = {"DONE": "TARGET_REACHED", "GUARD": "RIG_STOP"}


@pytest.fixture
async def application(tmp_path: Path, clock: StandingClock) -> AsyncIterator[Application]:
    settings = Settings(data_directory=tmp_path / "own", memory_limit="200MB", thread_count=1)
    opened = await Application.open(settings, clock=clock)
    yield opened
    await opened.close()


@pytest.fixture
def person() -> Actor:
    return Actor(name="A. Tester", kind="PERSON", scopes=frozenset({"holds.sign"}))


async def post(application: Application, actor: Actor, rows: list) -> None:
    async def chunks() -> AsyncIterator[bytes]:
        yield rows_table(rows)

    await application.uploads.take(chunks(), actor, content_digest=None)


def two_runs(serial: str, station: int, reason: str | None) -> list:
    """Ten cycles, a stop with this raw code, then eleven more to the planned count."""
    first = run_rows(serial, f"{serial}-1", [GOOD] * 10, station_no=station)
    second = run_rows(serial, f"{serial}-2", [GOOD] * 11, hour=1, station_no=station)
    for run, code in ((first, reason), (second, "DONE")):
        run[-1]["stop_reason"] = code
    return [row | {"stop_reason": row.get("stop_reason")} for row in first + second]


async def prepared(application: Application, actor: Actor) -> str:
    """Two units to 20 cycles; the first stopped once, with a code that nobody knows."""
    content = attribute_spec(
        requirement=[{"reliability": 0.5, "confidence": 0.7, "target_cycles": 20}],
        plan={**TWO_UNITS, "overdue_hours": 48.0},
    )
    await application.specs.create(msgspec.convert(content, Spec), actor)
    approval = SpecApproval(meaning="approved", reason="reviewed")
    await application.specs.approve(("CC25-A", 1), approval, actor, hash_seen=None)
    await application.records.set_rig("RIG-A", RigSettings(stop_codes=CODES), actor)
    lot, _ = await application.lots.register(NewLot(lot_number=LOT, part_number="CC25"), actor)
    sample = NewUnits(units=[NewUnit(unit_serial=serial) for serial in SERIALS])
    await application.lots.add_to_sample(lot.lot_id, sample, actor)
    assignment = NewAssignment(spec_id="CC25-A", version=1, reason="as ordered")
    await application.lots.assign(lot.lot_id, assignment, actor)
    await post(application, actor, two_runs("001", 1, "E17") + two_runs("002", 2, "GUARD"))
    return lot.lot_id


async def key_of(application: Application, lot_id: str) -> str:
    return (await application.evaluations.read(lot_id, None)).provenance.evaluation_key


async def only_hold(application: Application, lot_id: str) -> str:
    [hold] = (await application.evaluations.read(lot_id, None)).holds
    return hold.hold_id


async def test_a_stop_is_decided_with_the_verdict_before_and_after(
    application: Application, clock: StandingClock, actor: Actor, person: Actor
) -> None:
    lot_id = await prepared(application, actor)
    hold_id, key = await only_hold(application, lot_id), await key_of(application, lot_id)
    report = await application.holds.report(hold_id)
    assert (report.state, report.name, report.verdict) == ("OPEN", "UNEXPLAINED_STOP", "HOLD")
    assert [(o.ending, o.credited_cycles, o.verdict) for o in report.options] == [
        ("RUN_OUT", 21, "ACCEPT"),
        ("FAILED", 10, "REJECT"),
    ]
    clock.pass_minutes(5)
    made, is_new = await application.holds.dispose(hold_id, BEST, person, key_seen=key)
    assert (is_new, made.signed_at, made.signed_by) == (True, clock.now, "A. Tester")
    assert (made.before.verdict, made.before.evaluation_key) == ("HOLD", key)
    after = await application.evaluations.read(lot_id, None)
    assert (made.after.verdict, after.verdict) == ("ACCEPT", "ACCEPT")
    assert made.after.evaluation_key == after.provenance.evaluation_key
    assert [hold.hold_id for hold in after.decided_holds] == [hold_id]
    clock.pass_minutes(5)
    again, is_new = await application.holds.dispose(hold_id, BEST, person, key_seen=key)
    assert (again, is_new) == (made, False)


async def test_dispositions_are_facts_and_deleting_every_memo_changes_no_answer(
    application: Application, actor: Actor, person: Actor
) -> None:
    lot_id = await prepared(application, actor)
    hold_id = await only_hold(application, lot_id)
    for body in (BEST, WORST):
        key = await key_of(application, lot_id)
        await application.holds.dispose(hold_id, body, person, key_seen=key)
    evaluation = await application.evaluations.read(lot_id, None)
    report = await application.holds.report(hold_id)
    life = await application.units.life(report.unit_id)
    await application._store.write(memos.forget_all)
    assert await application.evaluations.read(lot_id, None) == evaluation
    await application._store.write(memos.forget_all)
    assert await application.holds.report(hold_id) == report
    assert await application.units.life(report.unit_id) == life
    assert (evaluation.verdict, life.ending, life.cycles) == ("REJECT", "FAILED", 10)


async def test_a_decision_is_outdated_by_a_disposition(
    application: Application, actor: Actor, person: Actor
) -> None:
    lot_id = await prepared(application, actor)
    hold_id = await only_hold(application, lot_id)
    key = await key_of(application, lot_id)
    await application.holds.dispose(hold_id, BEST, person, key_seen=key)
    body = NewDecision(meaning="accepted", reason="plan finished")
    key = await key_of(application, lot_id)
    decision, _ = await application.decisions.record(lot_id, body, person, key_seen=key)
    await application.holds.dispose(hold_id, WORST, person, key_seen=key)
    found = await application.decisions.find(decision.decision_id)
    assert found == msgspec.structs.replace(decision, decision_outdated=True)


async def test_other_rows_leave_a_decided_stop_decided_and_its_own_rows_open_it_again(
    application: Application, actor: Actor, person: Actor
) -> None:
    lot_id = await prepared(application, actor)
    hold_id = await only_hold(application, lot_id)
    key = await key_of(application, lot_id)
    await application.holds.dispose(hold_id, BEST, person, key_seen=key)
    later = run_rows("001", "001-3", [GOOD] * 5, hour=2, stop_reason=None)
    later[-1]["stop_reason"] = "GUARD"
    await post(application, actor, later)
    evaluation = await application.evaluations.read(lot_id, None)
    assert [hold.hold_id for hold in evaluation.decided_holds] == [hold_id]
    # One more row of the run whose end was decided: it stopped elsewhere than was signed.
    late = run_rows("001", "001-1", [GOOD] * 11, stop_reason=None)[10:]
    await post(application, actor, late)
    assert await only_hold(application, lot_id) != hold_id
    report = await application.holds.report(hold_id)
    assert (report.state, [d.in_effect for d in report.dispositions]) == ("CLOSED", [False])
    key = await key_of(application, lot_id)
    with pytest.raises(Conflict, match="have changed"):
        await application.holds.dispose(hold_id, WORST, person, key_seen=key)


async def test_a_record_that_answers_the_question_closes_the_hold(
    application: Application, actor: Actor, person: Actor
) -> None:
    lot_id = await prepared(application, actor)
    hold_id = await only_hold(application, lot_id)
    codes = RigSettings(stop_codes={**CODES, "E17": "RIG_STOP"})
    await application.records.set_rig("RIG-A", codes, actor)
    evaluation = await application.evaluations.read(lot_id, None)
    assert (evaluation.verdict, evaluation.holds) == ("ACCEPT", [])
    with pytest.raises(Conflict, match="Nothing is open here"):
        await application.holds.dispose(
            hold_id, WORST, person, key_seen=evaluation.provenance.evaluation_key
        )
    with pytest.raises(NotFound, match="hold"):
        await application.holds.report(hold_id)


async def test_only_a_person_signs_and_only_what_was_read(
    application: Application, actor: Actor, person: Actor
) -> None:
    lot_id = await prepared(application, actor)
    hold_id = await only_hold(application, lot_id)
    key = await key_of(application, lot_id)
    with pytest.raises(PersonNeeded, match="person"):
        await application.holds.dispose(hold_id, BEST, actor, key_seen=key)
    with pytest.raises(StaleVersion):
        await application.holds.dispose(hold_id, BEST, person, key_seen="sha256:0")
    found = await application.holds.dispositions(hold_id, after=0, limit=9)
    assert found == []


async def test_what_is_not_there_is_not_found(application: Application, person: Actor) -> None:
    for hold_id in ("x", "unit_nowhere.UNIT_OVERDUE.aaaaaaaaaaaa"):
        for asking in (
            application.holds.report(hold_id),
            application.holds.dispositions(hold_id, after=0, limit=9),
            application.holds.dispose(hold_id, BEST, person, key_seen="x"),
        ):
            with pytest.raises(NotFound, match="hold"):
                await asking
