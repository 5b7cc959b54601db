"""Lives of a lot for questions beside its verdict, and the tag of an answer."""

import msgspec
import pytest

from schemas.lots import NewLot
from service.errors import NotFound
from service.storage.store import Store
from service.tokens import Actor
from service.workflows.clock import Clock
from service.workflows.lot_lives import answer_key, read_lot_lives
from service.workflows.lots import Lots

pytestmark = pytest.mark.anyio


async def test_a_lot_is_read_with_what_its_answer_rests_on(
    store: Store, clock: Clock, actor: Actor
) -> None:
    body = NewLot(lot_number="CC25-0117", part_number="CC25")
    lot, _ = await Lots(store, clock).register(body, actor)
    read = store.read_now(lambda db: read_lot_lives(db, lot.lot_id))
    assert (read.lot_number, read.lives, read.open_hold_count) == ("CC25-0117", [], 0)
    with pytest.raises(NotFound):
        store.read_now(lambda db: read_lot_lives(db, "lot_unheard_of"))
    # The tag of an answer follows facts, kind and question.
    keys = {
        answer_key("fits", [read], 1),
        answer_key("fits", [read], 2),
        answer_key("homogeneity", [read], 1),
        answer_key("fits", [read, read], 1),
        answer_key("fits", [_with_other_facts(read)], 1),
    }
    assert len(keys) == 5
    assert answer_key("fits", [read], 1) in keys


def _with_other_facts(read):  # type: ignore[no-untyped-def]
    provenance = msgspec.structs.replace(read.provenance, evaluation_key="sha256:other")
    return msgspec.structs.replace(read, provenance=provenance)
