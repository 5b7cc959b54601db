"""Who decided what, when, on which facts: a recorded verdict never changes."""

from collections.abc import AsyncIterator
from pathlib import Path

import msgspec
import pytest
from bodies import failed, lives_table, run_outs
from decided_lots import BODY, SERIALS, body_of, key_of, prepared
from stores import StandingClock

from schemas.decisions import NewDecision
from service.errors import AlreadyExists, NotDecidable, NotFound, StaleVersion
from service.settings import Settings
from service.tokens import Actor
from service.workflows.application import Application

pytestmark = pytest.mark.anyio


@pytest.fixture
async def application(tmp_path: Path, clock: StandingClock) -> AsyncIterator[Application]:
    settings = Settings(data_directory=tmp_path / "own", memory_limit="200MB", thread_count=1)
    opened = await Application.open(settings, clock=clock)
    yield opened
    await opened.close()


async def test_a_verdict_is_recorded_with_its_facts_and_never_changes(
    application: Application, clock: StandingClock, actor: Actor
) -> None:
    lot_id = await prepared(application, actor, ran=6)
    key = await key_of(application, lot_id)
    clock.pass_minutes(5)
    made, is_new = await application.decisions.record(lot_id, BODY, actor, key_seen=key)
    assert (is_new, made.verdict, made.decided_at) == (True, "ACCEPT", clock.now)
    assert made.evaluation == await application.evaluations.read(lot_id, None)
    clock.pass_minutes(5)
    again, is_new = await application.decisions.record(lot_id, BODY, actor, key_seen=key)
    assert (again, is_new) == (made, False)
    late = lives_table([failed("CC25-0117", "007", 10)])
    await application.uploads.take(body_of(late), actor, content_digest=None)
    found = await application.decisions.find(made.decision_id)
    assert found == msgspec.structs.replace(made, decision_outdated=True)
    [(_, listed)] = await application.decisions.of_lot(lot_id, after=0, limit=9)
    assert listed == found


async def test_only_what_was_read_and_can_be_decided_is_recorded(
    application: Application, actor: Actor
) -> None:
    lot_id = await prepared(application, actor, ran=5)
    old = await key_of(application, lot_id)
    with pytest.raises(NotDecidable, match="CONTINUE"):
        await application.decisions.record(lot_id, BODY, actor, key_seen=old)
    last = lives_table(run_outs("CC25-0117", SERIALS[5:]))
    await application.uploads.take(body_of(last), actor, content_digest=None)
    with pytest.raises(StaleVersion):
        await application.decisions.record(lot_id, BODY, actor, key_seen=old)
    key = await key_of(application, lot_id)
    await application.decisions.record(lot_id, BODY, actor, key_seen=key)
    other = NewDecision(meaning="accepted", reason="another reason")
    with pytest.raises(AlreadyExists):
        await application.decisions.record(lot_id, other, actor, key_seen=key)
    assert len(await application.decisions.of_lot(lot_id, after=0, limit=9)) == 1


async def test_what_is_not_there_is_not_found(application: Application, actor: Actor) -> None:
    for asking in (
        application.decisions.record("lot_nowhere", BODY, actor, key_seen="x"),
        application.decisions.find("dec_nowhere"),
        application.decisions.of_lot("lot_nowhere", after=0, limit=9),
    ):
        with pytest.raises(NotFound):
            await asking
