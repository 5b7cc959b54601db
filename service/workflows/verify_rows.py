"""The files of a pack reduced again in a store of their own, and compared with its evidence."""

from __future__ import annotations

import math
import os
import tempfile
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import msgspec
from msgspec import structs

from schemas.evidence_packs import DecisionEvidence
from schemas.profiles import TableLimits
from schemas.stretches import StretchSummary
from service.errors import ServiceError
from service.intake.parquet import read_profile
from service.settings import Settings
from service.storage import lots, records
from service.storage.arrivals import store_upload
from service.storage.arrivals_file import Arrival
from service.storage.corrections import add_correction
from service.storage.facts import Stamp
from service.storage.store import Cursor, Store
from service.workflows.decay_blocks import with_blocks_for_onset
from service.workflows.pack_files import UPLOADS, BrokenPack, OpenPack
from service.workflows.reduce_lot import read_lot, with_records
from service.workflows.stretch_summaries import summarise

_ROUNDING = 1e-9
"""A mean over many rows depends in its last digits on the order in which they are added."""
_Place = tuple[str, str, str, int, int]
"""Unit, rig, run, station and lap: what names a summary without a store's own keys."""


def check_rows(
    pack: OpenPack, evidence: DecisionEvidence, lot_number: str, decided_at: datetime
) -> None:
    """
    Take the files of a pack into an empty store and reduce them under its specification.

    Parameters
    ----------
    pack : OpenPack
        With every file that the evidence names.
    evidence : DecisionEvidence
    lot_number : str
    decided_at : datetime
        Stands for the time of arrival, which no summary depends on.

    Raises
    ------
    BrokenPack
        If a file cannot be taken, or a summary of a stretch is another one.
    """
    settings = Settings(data_directory=Path(os.devnull))
    stamp = Stamp(at=decided_at, by="verification")
    with tempfile.TemporaryDirectory() as folder:
        store = Store.open(
            Path(folder), memory_limit=settings.memory_limit, threads=settings.thread_count
        )
        try:
            store.write_now(lambda db: _state_corrections(db, evidence, stamp))
            for each in evidence.uploads:
                _take(store, pack, each.sha256, stamp, settings)
            store.write_now(lambda db: _state_rigs(db, evidence, stamp))
            found = store.read_now(lambda db: _summaries(db, evidence, lot_number))
        except ServiceError as refusal:
            raise BrokenPack(f"A file of the pack cannot be taken: {refusal}.") from None
        finally:
            store.close()
    _compare(_stated(evidence), found)


def why_rows_are_not_computed(pack: OpenPack, evidence: DecisionEvidence) -> str | None:
    """Why rows are left out of a check; None where they can be reduced again."""
    missing = [e for e in evidence.uploads if f"{UPLOADS}{e.sha256}.parquet" not in pack.names]
    if missing or not evidence.uploads:
        return "rows: the pack does not hold the uploaded files"
    return None


def _take(store: Store, pack: OpenPack, sha256: str, stamp: Stamp, settings: Settings) -> None:
    path = store.spool_folder / f"{sha256}.parquet"
    path.write_bytes(pack.read(f"{UPLOADS}{sha256}.parquet"))
    limits = TableLimits(
        max_rows=settings.max_upload_rows,
        max_columns=settings.max_upload_columns,
        max_string_length=settings.max_string_length,
    )
    arrival = Arrival(
        path=path,
        profile=read_profile(path, limits),
        sha256=sha256,
        byte_count=path.stat().st_size,
        received_at=stamp.at,
        received_from=stamp.by,
        max_string_length=limits.max_string_length,
    )
    originals = store.originals_folder
    store.write_now(
        lambda db: store_upload(db, arrival, originals_folder=originals, spec_set_pressures={})
    )
    path.unlink()


def _state_corrections(db: Cursor, evidence: DecisionEvidence, stamp: Stamp) -> None:
    """Before any file is taken: an upload puts rows where the corrections known say."""
    for each in evidence.corrections:
        add_correction(db, each, stamp)


def _state_rigs(db: Cursor, evidence: DecisionEvidence, stamp: Stamp) -> None:
    rigs = {rig_id: settings for unit in evidence.units for rig_id, settings in unit.rigs.items()}
    for rig_id, settings in rigs.items():
        records.set_rig(db, rig_id, settings, stamp)


def _summaries(
    db: Cursor, evidence: DecisionEvidence, lot_number: str
) -> dict[_Place, StretchSummary]:
    lot_key = lots.lot_key_of_number(db, lot_number)
    if lot_key is None:
        return {}
    reading = read_lot(db, lots.find_lot(db, lot_key).lot_id)
    facts = with_records(db, reading, evidence.calibrations).facts
    serials = {unit.unit_key: unit.unit_serial for unit in facts.units}
    spec = evidence.spec.spec
    readings = summarise(db, facts, spec, keep=False)
    readings = with_blocks_for_onset(db, facts, spec, readings, keep=False)
    return {
        _place(each, serials[each.unit_key]): _without_keys(each)
        for laps in readings.values()
        for each in laps.as_stored
    }


def _stated(evidence: DecisionEvidence) -> dict[_Place, StretchSummary]:
    return {
        _place(each, unit.unit_serial): _without_keys(each)
        for unit in evidence.units
        for each in unit.stretches
    }


def _compare(
    stated: Mapping[_Place, StretchSummary], found: Mapping[_Place, StretchSummary]
) -> None:
    for place in sorted({*stated, *found}):
        serial, rig_id, run_id, station_no, _ = place
        named = f"unit {serial} in run {run_id} of {rig_id}, station {station_no}"
        if place not in found:
            raise BrokenPack(f"The files hold no rows of {named}.")
        if place not in stated:
            raise BrokenPack(f"The evidence leaves out rows of {named}.")
        if not _agree(msgspec.to_builtins(stated[place]), msgspec.to_builtins(found[place])):
            raise BrokenPack(f"The rows of {named} do not give the summary in the evidence.")


def _agree(stated: Any, found: Any) -> bool:
    """Whether two summaries say the same; means may differ in their last digits."""
    if isinstance(stated, dict) and isinstance(found, dict):
        return stated.keys() == found.keys() and all(
            _agree(stated[name], found[name]) for name in stated
        )
    if isinstance(stated, list) and isinstance(found, list):
        return len(stated) == len(found) and all(map(_agree, stated, found))
    if isinstance(stated, float) and isinstance(found, float):
        return math.isclose(stated, found, rel_tol=_ROUNDING, abs_tol=_ROUNDING)
    return bool(stated == found)


def _place(each: StretchSummary, serial: str) -> _Place:
    return serial, each.rig_id, each.run_id, each.station_no, each.lap


def _without_keys(each: StretchSummary) -> StretchSummary:
    return structs.replace(each, stretch_key=0, unit_key=0)
