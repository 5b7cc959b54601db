"""Demo lots, a signed verdict with its evidence, and a backup, in a data directory made for it."""

from __future__ import annotations

import os
import shutil
import zipfile
from collections.abc import Awaitable, Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TypeVar

import anyio
import msgspec
from msgspec import Struct

from schemas.audit import AuditHead
from schemas.decisions import Decision, Evaluation, NewDecision
from service.demo.command import seen_lots
from service.demo.verdict_table import differences
from service.settings import Settings, read_settings
from service.storage.lots import LotFilter
from service.tokens import Actor
from service.validation.step_report import Compared
from service.workflows.application import Application
from service.workflows.audit_trail import report_of_directory
from service.workflows.pack_files import write_pack
from service.workflows.recheck import recheck_directory
from service.workflows.verify_pack import verify_pack

DATA, FILES, COPY, PACK = "data", "files", "restored", "evidence.zip"
_MOST_LOTS = 100
_ACTOR = Actor(name="validation", kind="SYSTEM", scopes=frozenset({"admin"}))
_SIGNED = NewDecision(meaning="validation of the installed copy", reason="a demo lot; no real part")

Answer = TypeVar("Answer")


class _Said(Struct, frozen=True, kw_only=True):
    """All that a data directory says: evaluations with their entity tags, verdicts, trail."""

    evaluations: list[Evaluation]
    decisions: list[Decision]
    head: AuditHead


def compare_demo_lots(folder: Path, numbers: Sequence[str]) -> Compared:
    """Demo lots through a real service; each verdict against the lot's truth."""
    seen = seen_lots(folder / DATA, folder / FILES, numbers)
    return Compared(
        count=len(seen),
        differences=[
            f"lot {lot.facts.lot_number}: {found}" for lot in seen for found in differences(lot)
        ],
        notes=[f"scale 1/20, lots {', '.join(numbers)}"],
    )


def compare_evidence(folder: Path) -> Compared:
    """
    A verdict is signed and packed with its uploads; the pack is verified.

    Then one byte of each part in turn is changed, the rest packed again as it was:
    each such pack must be refused.
    """
    public_key = _asked(folder / DATA, partial(_packed, target=folder / PACK))
    report = verify_pack(folder / PACK, public_key)
    if not report.is_sound:
        return Compared(count=1, differences=[f"the pack is refused: {report.difference}"])
    with zipfile.ZipFile(folder / PACK) as pack:
        parts = {name: pack.read(name) for name in pack.namelist()}
    accepted = []
    for name, content in parts.items():
        changed = folder / f"changed-{PACK}"
        write_pack(changed, {**parts, name: _with_one_byte_changed(content)}, {})
        if verify_pack(changed, public_key).is_sound:
            accepted.append(f"a changed byte in {name} is accepted")
    return Compared(
        count=1 + len(parts),
        differences=accepted,
        notes=[f"checked in the pack: {', '.join(report.checked)}", *report.not_checked],
    )


def compare_backup(folder: Path) -> Compared:
    """The closed data directory is copied, and its copy asked: it must say the same of all."""
    before = _asked(folder / DATA, _everything_said)
    shutil.copytree(folder / DATA, folder / COPY)
    found = []
    trail = report_of_directory(_settings(folder / COPY), before.head)
    if not trail.is_intact:
        found.append(f"the audit trail of the copy is broken: {trail.difference}")
    after = _asked(folder / COPY, _everything_said)
    for name in _Said.__struct_fields__:
        said, again = getattr(before, name), getattr(after, name)
        if msgspec.json.encode(said) != msgspec.json.encode(again):
            found.append(f"the copy gives other {name}")
    recheck = recheck_directory(_settings(folder / COPY))
    found += [
        f"the verdict on lot {each.lot_number} is another when computed again"
        for each in recheck.decisions
        if not each.agrees
    ]
    return Compared(
        count=len(before.evaluations) + len(before.decisions) + trail.link_count,
        differences=found,
        notes=["evaluations with entity tags, recorded verdicts, links of the audit trail"],
    )


def _settings(data: Path) -> Settings:
    return read_settings(os.environ, data_directory=data)


def _asked(data: Path, question: Callable[[Application], Awaitable[Answer]]) -> Answer:
    """Open a data directory, ask, and close it again."""

    async def ask() -> Answer:
        application = await Application.open(_settings(data))
        try:
            return await question(application)
        finally:
            await application.close()

    return anyio.run(ask)


async def _evaluations(application: Application) -> list[Evaluation]:
    lots = await application.lots.matching(LotFilter(), after=0, limit=_MOST_LOTS)
    return [await application.evaluations.read(lot.lot_id, None) for _, lot in lots]


async def _packed(application: Application, *, target: Path) -> str:
    """Sign the first verdict that can be signed and pack it; gives the public key."""
    said = next(
        each for each in await _evaluations(application) if each.verdict in ("ACCEPT", "REJECT")
    )
    decision, _ = await application.decisions.record(
        said.lot_id, _SIGNED, _ACTOR, key_seen=said.provenance.evaluation_key
    )
    pack = await application.evidence_packs.make(decision.decision_id, with_uploads=True)
    shutil.move(pack, target)
    return application.evidence_packs.keys().items[0].public_key


async def _everything_said(application: Application) -> _Said:
    evaluations = await _evaluations(application)
    decisions = [
        decision
        for each in evaluations
        for _, decision in await application.decisions.of_lot(
            each.lot_id, after=0, limit=_MOST_LOTS
        )
    ]
    trail = await application.audit_trail.verify(None)
    return _Said(evaluations=evaluations, decisions=decisions, head=trail.head)


def _with_one_byte_changed(content: bytes) -> bytes:
    middle = len(content) // 2
    return content[:middle] + bytes([content[middle] ^ 1]) + content[middle + 1 :]
