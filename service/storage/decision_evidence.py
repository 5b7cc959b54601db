"""What a recorded verdict rested on: written with it, in the same transaction, never edited."""

from __future__ import annotations

import msgspec

from schemas.evidence_packs import DecisionEvidence, UploadDigest
from service.storage.facts import Stamp
from service.storage.store import Cursor

_ADD = """
INSERT INTO decision_evidence (decision_id, body, recorded_at, recorded_by)
VALUES ($decision_id, $body, $at, $by)
"""
_FIND = "SELECT body FROM decision_evidence WHERE decision_id = $decision_id"
_UPLOADS = """
SELECT p.upload_id, p.sha256, p.row_count
FROM uploads AS p
WHERE p.upload_key IN (
    SELECT t.upload_key FROM upload_stretches AS t
    JOIN stretch_bases AS b ON b.stretch_key = t.stretch_key
    JOIN units AS u ON u.unit_key = b.unit_key WHERE u.lot_key = $lot_key
    UNION ALL
    SELECT d.upload_key FROM uploaded_lives AS d
    JOIN units AS u ON u.unit_key = d.unit_key WHERE u.lot_key = $lot_key)
ORDER BY p.upload_key
"""


def add_decision_evidence(
    db: Cursor, decision_id: str, evidence: DecisionEvidence, stamp: Stamp
) -> None:
    """Keep what a verdict rests on."""
    body = msgspec.json.encode(evidence).decode()
    values = {"decision_id": decision_id, "body": body, "at": stamp.at, "by": stamp.by}
    db.execute(_ADD, values)


def find_decision_evidence(db: Cursor, decision_id: str) -> DecisionEvidence | None:
    """What a verdict rested on; None for one recorded before evidence was kept."""
    row = db.execute(_FIND, {"decision_id": decision_id}).fetchone()
    return None if row is None else msgspec.json.decode(row[0], type=DecisionEvidence)


def upload_digests(db: Cursor, lot_key: int) -> list[UploadDigest]:
    """Every upload with rows or lives of a lot, in the order of arrival."""
    rows = db.execute(_UPLOADS, {"lot_key": lot_key}).fetchall()
    names = UploadDigest.__struct_fields__
    return [UploadDigest(**dict(zip(names, row, strict=True))) for row in rows]
