"""After new facts about a lot: its lives and its verdict are made ready for the next look."""

from __future__ import annotations

import logging
from collections.abc import Collection

from service.storage.lots import lot_ids
from service.storage.store import Store
from service.workflows.evaluate_lot import refresh_lots
from service.workflows.reduce_lot import read_lot

_log = logging.getLogger(__name__)


async def keep_current(store: Store, lot_keys: Collection[int]) -> None:
    """
    Fill what can be derived about lots, so that a look reads lives and not rows.

    Never fails: the facts are stored already, and what is missing here is
    computed when somebody asks. A failure is logged.

    Parameters
    ----------
    store : Store
    lot_keys : collection of int
        Lots about which facts were recorded.
    """
    if not lot_keys:
        return
    try:
        await store.write(lambda db: refresh_lots(db, lot_keys), changes_facts=False)
        # Read once here, so that the first look after an upload only reads lives.
        await store.read(lambda db: [read_lot(db, lot_id) for lot_id in lot_ids(db, lot_keys)])
    except Exception:
        _log.exception("lots_not_refreshed count=%d", len(lot_keys))
