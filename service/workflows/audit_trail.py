"""The audit trail as it is read and checked."""

from __future__ import annotations

from schemas.audit import AuditHead, AuditLink, AuditReport
from service.settings import Settings
from service.storage.audit_chain import (
    first_difference,
    read_audit_head,
    read_audit_links,
)
from service.storage.kept_files import first_changed_file
from service.storage.store import Cursor, Store
from service.workflows.closed_directory import ask_closed_directory


class AuditTrail:
    """What can be asked of the trail."""

    def __init__(self, store: Store) -> None:
        self._store = store

    async def links(self, *, after: int, limit: int) -> list[tuple[int, AuditLink]]:
        """Links behind a position, each with its own."""
        found = await self._store.read(lambda db: read_audit_links(db, after=after, limit=limit))
        return [(link.position, link) for link in found]

    async def verify(self, noted: AuditHead | None) -> AuditReport:
        """
        Check every link, every fact, and the kept original of every upload.

        Parameters
        ----------
        noted : AuditHead or None
            An end of the trail that somebody noted down earlier.
        """
        return await self._store.read(lambda db: check_trail(db, self._store, noted))


def check_trail(db: Cursor, store: Store, noted: AuditHead | None) -> AuditReport:
    """The report on a store that is open here."""
    difference = first_difference(db, noted)
    if difference is None:
        difference = first_changed_file(db, store.originals_folder, store.attachments_folder)
    head = read_audit_head(db)
    if difference is None:
        return AuditReport(is_intact=True, link_count=head.position, head=head)
    return AuditReport(is_intact=False, link_count=head.position, head=head, difference=difference)


def report_of_directory(settings: Settings, noted: AuditHead | None) -> AuditReport:
    """
    The report on a data directory that no process works on.

    Raises
    ------
    DataDirectoryInUse
        If another process works on it.
    """
    return ask_closed_directory(settings, lambda db, store: check_trail(db, store, noted))
