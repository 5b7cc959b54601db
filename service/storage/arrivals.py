"""An uploaded table becomes rows: everything of it in one transaction, or nothing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from msgspec import Struct

from schemas.cycles import CYCLE_TABLE_VERSION
from schemas.uploads import LotTally, Upload
from service.storage.arrivals_cycles import ArrivedRows, store_rows
from service.storage.arrivals_file import Arrival
from service.storage.arrivals_lives import store_lives
from service.storage.arrivals_repeats import Tally
from service.storage.identifiers import upload_id_of
from service.storage.originals import keep_original
from service.storage.store import Cursor
from service.storage.uploads import add_upload, find_same_bytes, next_upload_key
from service.storage.withdrawals import refuse_withdrawn

_LOTS = """
SELECT l.lot_key, l.lot_id, l.lot_number, r.lot_key IS NOT NULL
FROM lots AS l
LEFT JOIN lot_registrations AS r ON r.lot_key = l.lot_key
WHERE l.lot_key IN (SELECT unnest($lot_keys::INTEGER[]))
ORDER BY l.lot_number
"""


class Arrived(Struct, frozen=True, kw_only=True):
    """
    What came of an upload.

    `is_new` is false for bytes that were uploaded before: `receipt` is then
    the first one and nothing was stored. The keys are those of lots, units
    and stretches whose rows or lives this upload added to, in order.
    """

    receipt: Upload
    upload_key: int
    is_new: bool
    lot_keys: list[int]
    unit_keys: list[int]
    stretch_keys: list[int]


def store_upload(
    db: Cursor,
    arrival: Arrival,
    *,
    originals_folder: Path,
    spec_set_pressures: Mapping[str, float],
) -> Arrived:
    """
    Store an uploaded table, its original and its receipt.

    Parameters
    ----------
    db : Cursor
        Inside the one write transaction; see `Store.write`. If this raises,
        the transaction must be rolled back.
    arrival : Arrival
        The spooled file; it keeps its place.
    originals_folder : Path, keyword only
        Where the original is kept. It is on disk before this returns, hence
        before the commit.
    spec_set_pressures : mapping of str to float, keyword only
        Set pressure (MPa) of the specification of each lot that has one, by
        lot number; used to notice a pressure in the wrong unit.

    Returns
    -------
    Arrived

    Raises
    ------
    UploadRefused
        With every fault that was found; nothing of the file is stored.
    UploadWithdrawn
        For bytes that were uploaded before and withdrawn.
    """
    known = find_same_bytes(db, arrival.sha256)
    if known is not None:
        refuse_withdrawn(db, *known)
        return Arrived(
            receipt=known[1],
            upload_key=known[0],
            is_new=False,
            lot_keys=[],
            unit_keys=[],
            stretch_keys=[],
        )
    upload_key = next_upload_key(db)
    if arrival.profile.table == "LIVES":
        rows = store_lives(db, arrival, upload_key)
    else:
        rows = store_rows(db, arrival, upload_key, spec_set_pressures)
    receipt = _receipt(db, arrival, rows)
    add_upload(db, upload_key, arrival, receipt)
    keep_original(originals_folder, arrival.path, arrival.sha256)
    return Arrived(
        receipt=receipt,
        upload_key=upload_key,
        is_new=True,
        lot_keys=sorted({lot_key for lot_key, _, _ in rows.tallies}),
        unit_keys=sorted({unit_key for _, unit_key, _ in rows.tallies}),
        stretch_keys=rows.stretch_keys,
    )


def _receipt(db: Cursor, arrival: Arrival, rows: ArrivedRows) -> Upload:
    total = _sum(tally for _, _, tally in rows.tallies)
    return Upload(
        upload_id=upload_id_of(arrival.sha256),
        sha256=arrival.sha256,
        table=arrival.profile.table,
        table_version=CYCLE_TABLE_VERSION,
        received_at=arrival.received_at,
        received_from=arrival.received_from,
        byte_count=arrival.byte_count,
        row_count=_row_count(total),
        stored_rows=total.stored_rows,
        duplicate_rows=total.duplicate_rows,
        conflicting_rows=total.conflicting_rows,
        lots=_lot_tallies(db, rows.tallies),
    )


def _lot_tallies(db: Cursor, tallies: Sequence[tuple[int, int, Tally]]) -> list[LotTally]:
    """What the upload holds of each lot, by lot number."""
    lot_keys = sorted({lot_key for lot_key, _, _ in tallies})
    lots = []
    for lot_key, lot_id, lot_number, registered in db.execute(
        _LOTS, {"lot_keys": lot_keys}
    ).fetchall():
        of_lot = [(unit_key, tally) for key, unit_key, tally in tallies if key == lot_key]
        total = _sum(tally for _, tally in of_lot)
        lots.append(
            LotTally(
                lot_id=lot_id,
                lot_number=lot_number,
                state="REGISTERED" if registered else "UNREGISTERED",
                unit_count=len({unit_key for unit_key, _ in of_lot}),
                row_count=_row_count(total),
                stored_rows=total.stored_rows,
                duplicate_rows=total.duplicate_rows,
                conflicting_rows=total.conflicting_rows,
            )
        )
    return lots


def _sum(tallies: Iterable[Tally]) -> Tally:
    stored = duplicate = conflicting = 0
    for tally in tallies:
        stored += tally.stored_rows
        duplicate += tally.duplicate_rows
        conflicting += tally.conflicting_rows
    return Tally(stored, duplicate, conflicting)


def _row_count(tally: Tally) -> int:
    return tally.stored_rows + tally.duplicate_rows + tally.conflicting_rows
