"""A lot of declared lives, told to an application, that a verdict can be recorded on."""

from collections.abc import AsyncIterator

import msgspec
from bodies import attribute_spec, lives_table, run_outs

from schemas.decisions import NewDecision
from schemas.lots import NewAssignment, NewLot
from schemas.specs import Spec, SpecApproval
from service.tokens import Actor
from service.workflows.application import Application

SERIALS = [f"{number:03}" for number in range(1, 7)]
BODY = NewDecision(meaning="accepted", reason="plan finished")


async def body_of(table: bytes) -> AsyncIterator[bytes]:
    yield table


async def prepared(application: Application, actor: Actor, *, ran: int) -> str:
    """A lot of which `ran` units of six reached the target."""
    await application.specs.create(msgspec.convert(attribute_spec(), Spec), actor)
    approval = SpecApproval(meaning="approved", reason="reviewed")
    await application.specs.approve(("CC25-A", 1), approval, actor, hash_seen=None)
    body = NewLot(lot_number="CC25-0117", part_number="CC25")
    lot, _ = await application.lots.register(body, actor)
    assignment = NewAssignment(spec_id="CC25-A", version=1, reason="as ordered")
    await application.lots.assign(lot.lot_id, assignment, actor)
    table = lives_table(run_outs("CC25-0117", SERIALS[:ran]))
    await application.uploads.take(body_of(table), actor, content_digest=None)
    return lot.lot_id


async def key_of(application: Application, lot_id: str) -> str:
    return (await application.evaluations.read(lot_id, None)).provenance.evaluation_key
