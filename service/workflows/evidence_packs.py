"""Evidence of recorded verdicts: kept when a verdict is recorded, packed when it is asked for."""

from __future__ import annotations

import tempfile
from pathlib import Path

import anyio.to_thread
import msgspec
from msgspec import Struct

from schemas.audit import AuditHead
from schemas.decisions import Decision
from schemas.evidence_packs import (
    PACK_FORM,
    PACK_VERSION,
    DecisionEvidence,
    PackManifest,
    PublicKeys,
)
from service.errors import NotFound
from service.signing import SigningKey
from service.storage.audit_chain import read_audit_head
from service.storage.corrections import corrections_about, linked_lots
from service.storage.decision_evidence import find_decision_evidence, upload_digests
from service.storage.decisions import find_decision
from service.storage.originals import original_path
from service.storage.store import Cursor, Store
from service.workflows import pack_files
from service.workflows.evaluate_lot import lot_evidence
from service.workflows.reduce_lot import LotReading, evidence_of, lives_of
from service.workflows.sensor_corrections import records_about


class _Found(Struct, frozen=True, kw_only=True):
    decision: Decision
    evidence: DecisionEvidence
    head: AuditHead


class EvidencePacks:
    """What can be asked for about the evidence of recorded verdicts."""

    def __init__(self, store: Store, key: SigningKey) -> None:
        self._store = store
        self._key = key

    def keys(self) -> PublicKeys:
        """The key that packs are signed with now."""
        return PublicKeys(items=[self._key.public])

    async def make(self, decision_id: str, *, with_uploads: bool) -> Path:
        """
        A pack as a file in the spool, which the caller removes.

        Raises
        ------
        NotFound
            If there is no such decision, or it was recorded before evidence was kept.
        """
        found = await self._store.read(lambda db: _find(db, decision_id))
        return await anyio.to_thread.run_sync(self._write, found, with_uploads)

    def _write(self, found: _Found, with_uploads: bool) -> Path:
        files = {}
        if with_uploads:
            files = {
                f"{pack_files.UPLOADS}{each.sha256}.parquet": original_path(
                    self._store.originals_folder, each.sha256
                )
                for each in found.evidence.uploads
            }
        contents = {
            pack_files.README: pack_files.READ_THIS.encode(),
            pack_files.DECISION: _pretty(found.decision),
            pack_files.EVIDENCE: _pretty(found.evidence),
        }
        parts = [pack_files.part_of(name, content) for name, content in contents.items()]
        parts += [pack_files.part_of_file(name, path) for name, path in files.items()]
        provenance = found.decision.evaluation.provenance
        manifest = PackManifest(
            form=PACK_FORM,
            version=PACK_VERSION,
            decision_id=found.decision.decision_id,
            lot_number=found.decision.lot_number,
            software=provenance.software,
            libraries=provenance.libraries,
            audit_head=found.head,
            signed_with=self._key.public.key_id,
            parts=parts,
        )
        listed = _pretty(manifest)
        contents |= {
            pack_files.MANIFEST: listed,
            pack_files.SIGNATURE: self._key.sign(listed),
            pack_files.KEY: _pretty(self._key.public),
        }
        with tempfile.NamedTemporaryFile(
            dir=self._store.spool_folder, suffix=".pack", delete=False
        ) as file:
            target = Path(file.name)
        pack_files.write_pack(target, contents, files)
        return target


def evidence_now(db: Cursor, reading: LotReading) -> DecisionEvidence:
    """What a verdict on a lot rests on at this moment; the lot has a specification."""
    assert reading.version is not None
    facts, lives = reading.facts, lives_of(db, reading, keep=False)
    said = lot_evidence(reading, lives)
    return DecisionEvidence(
        registered=said.registered,
        marks=said.marks,
        spec=reading.version,
        units=evidence_of(db, reading, keep=False),
        answers=dict(facts.answers),
        lives=lives,
        draws=list(facts.draws),
        is_listed=any(unit.listed for unit in facts.units),
        uploads=upload_digests(db, facts.lot_key),
        calibrations=[record for _, record in records_about(db, facts)],
        corrections=corrections_about(db, linked_lots(db, [facts.lot_number])),
    )


def _find(db: Cursor, decision_id: str) -> _Found:
    _, decision = find_decision(db, decision_id)
    evidence = find_decision_evidence(db, decision_id)
    if evidence is None:
        raise NotFound("evidence of decision", decision_id)
    return _Found(decision=decision, evidence=evidence, head=read_audit_head(db))


def _pretty(said: object) -> bytes:
    return msgspec.json.format(msgspec.json.encode(said), indent=1)
