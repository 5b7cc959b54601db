"""Failure records name modes, re-open verdicts, and exclude only with two persons' signatures."""

from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
from bodies import BURST, attribute_spec
from lots_by_hand import GOOD, LOT, rows_table, run_rows
from stores import FIRST_INSTANT, StandingClock

from schemas.decisions import NewDecision
from schemas.failure_records import NewFailureRecord, NewRecordSignature
from schemas.lots import NewAssignment, NewLot, RigSettings
from schemas.specs import Spec, SpecApproval
from service.errors import (
    AlreadyExists,
    Conflict,
    InvalidRequest,
    NotFound,
    PersonNeeded,
    StaleVersion,
)
from service.settings import Settings
from service.storage import memos
from service.tokens import Actor
from service.workflows.application import Application

pytestmark = pytest.mark.anyio
RIG_HOSE = BURST | {"name": "RIG_HOSE", "relevant": False}
CRACK = BURST | {"name": "THREAD_CRACK", "critical": True, "seen_as": "CANNOT_BUILD"}
BURST_PEAK = 5.0
SIGNED = NewRecordSignature(meaning="excluded from failures", reason="the hose is the rig's")


def person(name: str) -> Actor:
    return Actor(name=name, kind="PERSON", scopes=frozenset({"holds.sign"}))


ANN, BEN = person("A. Tester"), person("B. Tester")


@pytest.fixture
async def application(tmp_path: Path, clock: StandingClock) -> AsyncIterator[Application]:
    settings = Settings(data_directory=tmp_path / "own", memory_limit="200MB", thread_count=1)
    opened = await Application.open(settings, clock=clock)
    yield opened
    await opened.close()


def failing_run(serial: str, station: int, good: int = 20) -> list[dict[str, Any]]:
    """So many good cycles, then one in which the pressure collapses."""
    rows = run_rows(serial, f"{serial}-1", [GOOD] * good + [BURST_PEAK], station_no=station)
    return [row | {"stop_reason": "DONE" if row is rows[-1] else None} for row in rows]


def sound_run(serial: str, station: int) -> list[dict[str, Any]]:
    rows = run_rows(serial, f"{serial}-1", [GOOD] * 20, station_no=station)
    return [row | {"stop_reason": "DONE" if row is rows[-1] else None} for row in rows]


async def prepared(application: Application, actor: Actor, good: int = 20) -> str:
    """
    Two units to 20 cycles, none may fail. The first bursts after `good` counted cycles.

    A burst in a cycle that does not count leaves the life at what was counted so far.
    """
    content = attribute_spec(
        requirement=[{"reliability": 0.5, "confidence": 0.7, "target_cycles": 20}],
        failure={"modes": [BURST, RIG_HOSE, CRACK], "burst_below_mpa": 10.0},
        reduction={"cannot_build": {"attempts": 5, "window_s": 60.0}},
        plan={
            "kind": "ATTRIBUTE",
            "unit_count": 2,
            "planned_cycles": 20,
            "allowed_failures": 0,
            "overdue_hours": 48.0,
        },
    )
    await application.specs.create(msgspec.convert(content, Spec), actor)
    approval = SpecApproval(meaning="approved", reason="reviewed")
    await application.specs.approve(("CC25-A", 1), approval, actor, hash_seen=None)
    codes = RigSettings(stop_codes={"DONE": "TARGET_REACHED"})
    await application.records.set_rig("RIG-A", codes, actor)
    lot, _ = await application.lots.register(NewLot(lot_number=LOT, part_number="CC25"), actor)
    assignment = NewAssignment(spec_id="CC25-A", version=1, reason="as ordered")
    await application.lots.assign(lot.lot_id, assignment, actor)

    async def chunks() -> AsyncIterator[bytes]:
        yield rows_table(failing_run("001", 1, good) + sound_run("002", 2))

    await application.uploads.take(chunks(), actor, content_digest=None)
    return lot.lot_id


def record(mode: str, key: str = "FA-1", serial: str = "001", **changes: Any) -> NewFailureRecord:
    content = {
        "record_key": key,
        "unit": {"lot_number": LOT, "unit_serial": serial},
        "failure_mode": mode,
        "cause": "lip worn",
        "evidence": "seen under the microscope",
        "examined_at": FIRST_INSTANT.isoformat(),
        **changes,
    }
    return msgspec.convert(content, NewFailureRecord)


async def add(application: Application, actor: Actor, mode: str, key: str = "FA-1", **more: Any):
    made, is_new = await application.failure_records.add(record(mode, key, **more), actor)
    assert is_new
    return made


async def key_of(application: Application, lot_id: str) -> str:
    return (await application.evaluations.read(lot_id, None)).provenance.evaluation_key


async def sign(application: Application, lot_id: str, record_id: str, who: Actor):
    key = await key_of(application, lot_id)
    return await application.failure_records.sign(record_id, SIGNED, who, key_seen=key)


async def test_a_failure_is_excluded_by_two_persons_and_both_verdicts_stand(
    application: Application, actor: Actor, clock: StandingClock
) -> None:
    lot_id = await prepared(application, actor)
    made = await add(application, actor, "RIG_HOSE")
    report = await application.failure_records.report(made.record_id)
    assert (report.state, report.verdict, report.if_signed.verdict) == (
        "AWAITS_SIGNATURES",
        "REJECT",
        "ACCEPT",
    )
    assert (report.signatures_needed, report.signatures_missing) == (2, 2)
    assert (report.failure.failure_mode, report.failure.pending_mode) == ("UNANALYSED", "RIG_HOSE")
    clock.pass_minutes(5)
    first, is_new = await sign(application, lot_id, made.record_id, ANN)
    assert (is_new, first.signed_at, first.signed_by) == (True, clock.now, "A. Tester")
    assert (first.before.verdict, first.after.verdict) == ("REJECT", "REJECT")
    report = await application.failure_records.report(made.record_id)
    assert (report.state, report.signatures_missing) == ("AWAITS_SIGNATURES", 1)
    second, _ = await sign(application, lot_id, made.record_id, BEN)
    assert (second.before.verdict, second.after.verdict) == ("REJECT", "ACCEPT")
    evaluation = await application.evaluations.read(lot_id, None)
    assert second.after.evaluation_key == evaluation.provenance.evaluation_key
    assert (evaluation.verdict, evaluation.verdict_if_counted.verdict) == ("ACCEPT", "REJECT")
    [excluded] = evaluation.excluded_failures
    assert (excluded.unit_serial, excluded.failure_mode, excluded.relevant) == (
        "001",
        "RIG_HOSE",
        False,
    )
    [notice] = evaluation.notices
    assert (notice.code, notice.unit_serial) == ("NON_RELEVANT_LEAK", "001")
    life = await application.units.life(made.unit_id)
    assert (life.ending, life.cycles, life.failure.relevant) == ("SUSPENDED", 20, False)
    report = await application.failure_records.report(made.record_id)
    assert (report.state, report.signatures_needed, report.signatures_missing) == (
        "IN_EFFECT",
        2,
        0,
    )
    assert [each.in_effect for each in report.signatures] == [True, True]


async def test_records_and_signatures_are_facts_and_deleting_every_memo_changes_no_answer(
    application: Application, actor: Actor
) -> None:
    lot_id = await prepared(application, actor)
    made = await add(application, actor, "RIG_HOSE")
    for who in (ANN, BEN):
        await sign(application, lot_id, made.record_id, who)
    evaluation = await application.evaluations.read(lot_id, None)
    report = await application.failure_records.report(made.record_id)
    life = await application.units.life(made.unit_id)
    await application._store.write(memos.forget_all)
    assert await application.evaluations.read(lot_id, None) == evaluation
    await application._store.write(memos.forget_all)
    assert await application.failure_records.report(made.record_id) == report
    assert await application.units.life(made.unit_id) == life


async def test_a_mode_that_is_named_later_outdates_the_decision(
    application: Application, actor: Actor
) -> None:
    lot_id = await prepared(application, actor)
    body = NewDecision(meaning="refused", reason="a unit failed")
    key = await key_of(application, lot_id)
    decision, _ = await application.decisions.record(lot_id, body, ANN, key_seen=key)
    await add(application, actor, "BURST")
    found = await application.decisions.find(decision.decision_id)
    assert found == msgspec.structs.replace(decision, decision_outdated=True)
    key = await key_of(application, lot_id)
    again, _ = await application.decisions.record(lot_id, body, ANN, key_seen=key)
    await add(application, actor, "THREAD_CRACK", "FA-2")
    assert (await application.decisions.find(again.decision_id)).decision_outdated
    evaluation = await application.evaluations.read(lot_id, None)
    assert "CRITICAL_FAILURE" in [reason.code for reason in evaluation.reasons]
    assert [notice.code for notice in evaluation.notices] == ["CRITICAL_FAILURE_SEEN"]


async def test_a_cycle_up_to_which_damage_was_absent_becomes_a_count(
    application: Application, actor: Actor
) -> None:
    """The fourth cycle of the run is the fourth that counts; the burst came after ten."""
    await prepared(application, actor, good=10)
    point = {"rig_id": "RIG-A", "run_id": "001-1", "cycle_in_run": 4}
    made = await add(application, actor, "BURST", hidden_before={"clean_after": point})
    life = await application.units.life(made.unit_id)
    assert (life.ending, life.cycles_low, life.cycles_high) == ("FAILED_BETWEEN", 4, 10)
    assert life.credited_cycles == 4


async def test_the_same_record_adds_nothing_and_another_under_its_key_is_refused(
    application: Application, actor: Actor, clock: StandingClock
) -> None:
    lot_id = await prepared(application, actor)
    made = await add(application, actor, "BURST")
    clock.pass_minutes(1)
    again, is_new = await application.failure_records.add(record("BURST"), actor)
    assert (again, is_new) == (made, False)
    with pytest.raises(AlreadyExists):
        await application.failure_records.add(record("BURST", cause="another"), actor)
    assert await application.failure_records.all(lot_id, after=0, limit=9) == [
        (place, each)
        for place, each in await application.failure_records.all(None, after=0, limit=9)
    ]


async def test_a_later_record_supersedes_and_both_stay_on_the_unit(
    application: Application, actor: Actor
) -> None:
    lot_id = await prepared(application, actor)
    first = await add(application, actor, "RIG_HOSE")
    await sign(application, lot_id, first.record_id, ANN)
    second = await add(application, actor, "BURST", "FA-2")
    other = await add(application, actor, "RIG_HOSE", "FA-3", serial="002")
    of_unit = await application.failure_records.of_unit(first.unit_id)
    assert [(each.record.record_id, each.state) for each in of_unit] == [
        (second.record_id, "IN_EFFECT"),
        (first.record_id, "SUPERSEDED"),
    ]
    assert [each.in_effect for each in of_unit[1].signatures] == [False]
    of_lot = await application.failure_records.of_lot(lot_id)
    assert [(each.unit_serial, each.record.record_id) for each in of_lot] == [
        ("001", second.record_id),
        ("002", other.record_id),
    ]
    assert of_lot[1].state == "NO_FAILURE_SEEN"
    with pytest.raises(Conflict, match="supersedes"):
        await sign(application, lot_id, first.record_id, BEN)
    with pytest.raises(Conflict, match="in effect"):
        await sign(application, lot_id, second.record_id, BEN)
    with pytest.raises(Conflict, match="shows no failure"):
        await sign(application, lot_id, other.record_id, BEN)


async def test_one_person_counts_once_and_a_repeat_adds_nothing(
    application: Application, actor: Actor
) -> None:
    lot_id = await prepared(application, actor)
    made = await add(application, actor, "RIG_HOSE")
    signed, _ = await sign(application, lot_id, made.record_id, ANN)
    again, is_new = await sign(application, lot_id, made.record_id, ANN)
    assert (again, is_new) == (signed, False)
    key = await key_of(application, lot_id)
    other = NewRecordSignature(meaning="excluded from failures", reason="looked again")
    for same in (ANN, person("a.  tester")):
        with pytest.raises(Conflict, match="another person's"):
            await application.failure_records.sign(made.record_id, other, same, key_seen=key)
    assert (await application.evaluations.read(lot_id, None)).verdict == "REJECT"


async def test_only_a_person_signs_and_only_what_was_read(
    application: Application, actor: Actor
) -> None:
    lot_id = await prepared(application, actor)
    made = await add(application, actor, "RIG_HOSE")
    key = await key_of(application, lot_id)
    with pytest.raises(PersonNeeded, match="person"):
        await application.failure_records.sign(made.record_id, SIGNED, actor, key_seen=key)
    with pytest.raises(StaleVersion):
        await application.failure_records.sign(made.record_id, SIGNED, ANN, key_seen="sha256:0")
    with pytest.raises(NotFound):
        await application.failure_records.sign("rec_x", SIGNED, ANN, key_seen=key)
    assert (await application.failure_records.report(made.record_id)).signatures == []


async def test_a_record_that_cannot_be_meant_is_refused_with_its_places(
    application: Application, actor: Actor
) -> None:
    await prepared(application, actor)
    point = {"rig_id": "RIG-A", "run_id": "001-1", "cycle_in_run": 4}
    early, late = "2026-11-25T07:00:00Z", "2026-11-25T08:00:00Z"
    wrong = record(
        "BURST",
        examined_at="1950-01-01T00:00:00Z",
        custody=[
            {"held_by": "A. Tester", "place": "bench", "from_at": late},
            {"held_by": "B. Tester", "place": "cabinet", "from_at": early},
        ],
        attachments=["ab" * 32, "ab" * 32],
        hidden_before={"clean_after": point, "clean_at_cycles": 4},
    )
    with pytest.raises(InvalidRequest) as refusal:
        await application.failure_records.add(wrong, actor)
    assert [(fault.code, fault.pointer) for fault in refusal.value.errors] == [
        ("INSTANT_OUT_OF_RANGE", "/examined_at"),
        ("CUSTODY_OUT_OF_ORDER", "/custody"),
        ("REPEATED", "/attachments"),
        ("CONTRADICTION", "/hidden_before"),
    ]
    with pytest.raises(InvalidRequest) as refusal:
        await application.failure_records.add(record("BURST", attachments=["cd" * 32]), actor)
    assert [(fault.code, fault.pointer) for fault in refusal.value.errors] == [
        ("ATTACHMENT_NOT_STORED", "/attachments/0")
    ]
    elsewhere = {"unit": {"lot_number": "CC25-9999", "unit_serial": "001"}}
    with pytest.raises(NotFound):
        await application.failure_records.add(record("BURST", **elsewhere), actor)
    assert await application.failure_records.all(None, after=0, limit=9) == []
