"""Specifications and what happened to each of their versions: drafted, replaced, approved."""

from __future__ import annotations

import hashlib
from typing import Any

import msgspec

from schemas.specs import Spec, SpecApproval, SpecSummary, SpecVersion
from service.errors import NotFound
from service.storage.facts import Stamp
from service.storage.store import Cursor

_VERSION_FIELDS = (
    "spec_id", "version", "state", "body", "hash", "created_at", "created_by",
    "approved_at", "approved_by", "approval_meaning", "approval_reason",
)  # fmt: skip
_VERSION_COLUMNS = ", ".join(_VERSION_FIELDS)
_VERSION = f"""
SELECT {_VERSION_COLUMNS} FROM spec_versions
WHERE spec_id = $spec_id AND version = $version
"""
_VERSIONS = f"""
SELECT {_VERSION_COLUMNS} FROM spec_versions
WHERE spec_id = $spec_id AND version > $after
ORDER BY version
LIMIT $limit
"""
_WITH_HASH = f"""
SELECT {_VERSION_COLUMNS} FROM spec_versions
WHERE spec_id = $spec_id AND hash = $hash
ORDER BY version DESC
LIMIT 1
"""
_CURRENT = f"""
SELECT {_VERSION_COLUMNS} FROM spec_versions
WHERE spec_id = $spec_id
ORDER BY state = 'APPROVED' DESC, version DESC
LIMIT 1
"""
_SPECS = """
SELECT spec_id, version, state, body FROM spec_versions
WHERE spec_id > $after
QUALIFY row_number() OVER (PARTITION BY spec_id ORDER BY version DESC) = 1
ORDER BY spec_id
LIMIT $limit
"""
_LAST_VERSION = "SELECT max(version) FROM spec_events WHERE spec_id = $spec_id"
_ADD_EVENT = """
INSERT INTO spec_events
    (spec_id, version, kind, body, hash, meaning, reason, recorded_at, recorded_by)
VALUES ($spec_id, $version, $kind, $body, $hash, $meaning, $reason, $at, $by)
"""


def canonical_json(spec: Spec) -> str:
    """
    The one text of a specification: keys sorted, no space, absent fields left out.

    Two specifications with the same content have the same text, whatever the
    order in which they were written.
    """
    return msgspec.json.encode(spec, order="sorted").decode()


def spec_hash(spec: Spec) -> str:
    """SHA-256 of the canonical JSON, as ``sha256:`` and 64 hexadecimal digits."""
    return f"sha256:{hashlib.sha256(canonical_json(spec).encode()).hexdigest()}"


def add_draft(db: Cursor, spec: Spec, stamp: Stamp) -> SpecVersion:
    """Store `spec` as the next version of its specification; numbers are never used twice."""
    last = _one(db, _LAST_VERSION, spec_id=spec.spec_id)
    version = (last[0] if last and last[0] else 0) + 1
    _add_draft_event(db, spec, stamp, version=version, kind="DRAFTED")
    return find_version(db, spec.spec_id, version)


def replace_draft(db: Cursor, spec: Spec, version: int, stamp: Stamp) -> SpecVersion:
    """Give a draft another content; the caller has checked that it is a draft."""
    _add_draft_event(db, spec, stamp, version=version, kind="REPLACED")
    return find_version(db, spec.spec_id, version)


def delete_draft(db: Cursor, spec_id: str, version: int, stamp: Stamp) -> None:
    """Take a draft out of sight; the caller has checked that it is a draft."""
    _add_event(db, stamp, spec_id=spec_id, version=version, kind="DELETED")


def approve_version(
    db: Cursor, draft: SpecVersion, approval: SpecApproval, stamp: Stamp
) -> SpecVersion:
    """Freeze a draft; the version approved before it counts as superseded from now on."""
    _add_event(
        db,
        stamp,
        spec_id=draft.spec_id,
        version=draft.version,
        kind="APPROVED",
        meaning=approval.meaning,
        reason=approval.reason,
    )
    return find_version(db, draft.spec_id, draft.version)


def find_version(db: Cursor, spec_id: str, version: int) -> SpecVersion:
    """
    One version of a specification.

    Raises
    ------
    NotFound
        If there is none, or its draft was deleted.
    """
    row = _one(db, _VERSION, spec_id=spec_id, version=version)
    if row is None:
        raise NotFound("version of a spec", f"{spec_id}:{version}")
    return _version(row)


def find_current_version(db: Cursor, spec_id: str) -> SpecVersion:
    """
    The approved version of a specification; its newest draft where none is approved.

    Raises
    ------
    NotFound
        If there is no such specification.
    """
    row = _one(db, _CURRENT, spec_id=spec_id)
    if row is None:
        raise NotFound("spec", spec_id)
    return _version(row)


def find_equal_version(db: Cursor, spec: Spec) -> SpecVersion | None:
    """The newest version of the same specification that has the same content, if any."""
    row = _one(db, _WITH_HASH, spec_id=spec.spec_id, hash=spec_hash(spec))
    return None if row is None else _version(row)


def has_versions(db: Cursor, spec_id: str) -> bool:
    """Whether any version of a specification is in sight."""
    return _one(db, _CURRENT, spec_id=spec_id) is not None


def list_versions(db: Cursor, spec_id: str, *, after: int, limit: int) -> list[SpecVersion]:
    """Up to `limit` versions whose number is above `after`, in ascending order."""
    rows = db.execute(_VERSIONS, {"spec_id": spec_id, "after": after, "limit": limit}).fetchall()
    return [_version(row) for row in rows]


def list_specs(db: Cursor, *, after: str, limit: int) -> list[SpecSummary]:
    """Up to `limit` specifications, each by its newest version, by id from `after` on."""
    rows = db.execute(_SPECS, {"after": after, "limit": limit}).fetchall()
    return [_summary(row) for row in rows]


def _add_draft_event(db: Cursor, spec: Spec, stamp: Stamp, *, version: int, kind: str) -> None:
    _add_event(
        db,
        stamp,
        spec_id=spec.spec_id,
        version=version,
        kind=kind,
        body=canonical_json(spec),
        hash=spec_hash(spec),
    )


def _add_event(db: Cursor, stamp: Stamp, **values: Any) -> None:
    absent = {"body": None, "hash": None, "meaning": None, "reason": None}
    db.execute(_ADD_EVENT, {**absent, **values, "at": stamp.at, "by": stamp.by})


def _one(db: Cursor, statement: str, **values: Any) -> tuple[Any, ...] | None:
    return db.execute(statement, values).fetchone()


def _version(row: tuple[Any, ...]) -> SpecVersion:
    present = {
        name: value for name, value in zip(_VERSION_FIELDS, row, strict=True) if value is not None
    }
    spec = msgspec.json.decode(present.pop("body"), type=Spec)
    return msgspec.convert({**present, "spec": spec}, SpecVersion)


def _summary(row: tuple[Any, ...]) -> SpecSummary:
    spec_id, version, state, body = row
    spec = msgspec.json.decode(body, type=Spec)
    return SpecSummary(
        spec_id=spec_id,
        part_number=spec.part_number,
        version=version,
        state=state,
        plan_kind=spec.plan.kind,
    )
