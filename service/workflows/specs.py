"""Specifications: drafted, replaced, approved, never changed after that."""

from __future__ import annotations

import msgspec

from analysis.decision.spec_checks import approval_faults, draft_faults, settings_not_applied
from schemas.problems import ProblemError
from schemas.specs import Spec, SpecApproval, SpecSummary, SpecVersion
from service.errors import AlreadyExists, InvalidRequest, NotFound, SpecFrozen, StaleVersion
from service.storage import specs
from service.storage.store import Cursor, Store
from service.tokens import Actor
from service.workflows.clock import Clock, stamp_of


class Specs:
    """
    What can be done with specifications.

    Where a method gives a pair, the second value says whether anything was
    added: a repeat of what is stored already adds nothing.
    """

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store = store
        self._clock = clock

    async def create(self, spec: Spec, actor: Actor) -> tuple[SpecVersion, bool]:
        """
        Draft a specification that does not exist yet, as its version 1.

        Raises
        ------
        InvalidRequest
            If it contradicts itself; every fault is named with its place.
        AlreadyExists
            If there is one of this id with other content.
        """
        _refuse(draft_faults(spec))
        stamp = stamp_of(self._clock, actor)

        def change(db: Cursor) -> tuple[SpecVersion, bool]:
            if (equal := _current_equal(db, spec)) is not None:
                return equal, False
            if specs.has_versions(db, spec.spec_id):
                raise AlreadyExists("spec", spec.spec_id)
            return specs.add_draft(db, spec, stamp), True

        version, is_new = await self._store.write(change)
        return _with_settings(version), is_new

    async def add_version(self, spec_id: str, spec: Spec, actor: Actor) -> tuple[SpecVersion, bool]:
        """
        Draft the next version of a specification.

        Raises
        ------
        InvalidRequest
            If it contradicts itself or names another specification.
        NotFound
            If there is no such specification.
        """
        _check_same_id(spec_id, spec)
        _refuse(draft_faults(spec))
        stamp = stamp_of(self._clock, actor)

        def change(db: Cursor) -> tuple[SpecVersion, bool]:
            if not specs.has_versions(db, spec_id):
                raise NotFound("spec", spec_id)
            if (equal := _current_equal(db, spec)) is not None:
                return equal, False
            return specs.add_draft(db, spec, stamp), True

        version, is_new = await self._store.write(change)
        return _with_settings(version), is_new

    async def replace(
        self, reference: tuple[str, int], spec: Spec, actor: Actor, *, hash_seen: str | None
    ) -> SpecVersion:
        """
        Give a draft another content.

        Parameters
        ----------
        reference : tuple of str and int
            Specification and version.
        hash_seen : str, optional, keyword only
            Hash of the draft that the caller read.

        Raises
        ------
        InvalidRequest
            If the new content contradicts itself or names another specification.
        NotFound
            If there is no such version.
        SpecFrozen
            If it is no draft any more.
        StaleVersion
            If `hash_seen` is given and is not the hash of the draft as it stands.
        """
        spec_id, version = reference
        _check_same_id(spec_id, spec)
        _refuse(draft_faults(spec))
        stamp = stamp_of(self._clock, actor)

        def change(db: Cursor) -> SpecVersion:
            draft = _draft(db, spec_id, version, hash_seen)
            if draft.hash == specs.spec_hash(spec):
                return draft
            return specs.replace_draft(db, spec, version, stamp)

        return _with_settings(await self._store.write(change))

    async def delete(self, spec_id: str, version: int, actor: Actor) -> None:
        """Delete a draft. Its number is not used again. Errors are those of `replace`."""
        stamp = stamp_of(self._clock, actor)

        def change(db: Cursor) -> None:
            _draft(db, spec_id, version, None)
            specs.delete_draft(db, spec_id, version, stamp)

        await self._store.write(change)

    async def approve(
        self,
        reference: tuple[str, int],
        approval: SpecApproval,
        actor: Actor,
        *,
        hash_seen: str | None,
    ) -> SpecVersion:
        """
        Freeze a draft; the version approved before it is superseded.

        Parameters
        ----------
        reference : tuple of str and int
            Specification and version.

        Raises
        ------
        InvalidRequest
            If the plan does not show what the specification requires, or a rule
            that it needs is not built.
        NotFound, SpecFrozen, StaleVersion
            As in `replace`. The same approval again changes nothing and is no error.
        """
        spec_id, number = reference
        stamp = stamp_of(self._clock, actor)

        def change(db: Cursor) -> SpecVersion:
            version = specs.find_version(db, spec_id, number)
            if version.state == "APPROVED" and _is_same_approval(version, approval):
                return version
            draft = _draft(db, spec_id, number, hash_seen)
            _refuse(draft_faults(draft.spec) or approval_faults(draft.spec))
            return specs.approve_version(db, draft, approval, stamp)

        return _with_settings(await self._store.write(change))

    async def find(self, spec_id: str, version: int) -> SpecVersion:
        """
        One version of a specification.

        Raises
        ------
        NotFound
            If there is no such version.
        """
        found = await self._store.read(lambda db: specs.find_version(db, spec_id, version))
        return _with_settings(found)

    async def versions(self, spec_id: str, *, after: int, limit: int) -> list[SpecVersion]:
        """
        Versions of a specification in ascending order.

        Raises
        ------
        NotFound
            If there is no such specification.
        """

        def question(db: Cursor) -> list[SpecVersion]:
            if not specs.has_versions(db, spec_id):
                raise NotFound("spec", spec_id)
            return specs.list_versions(db, spec_id, after=after, limit=limit)

        return [_with_settings(version) for version in await self._store.read(question)]

    async def summaries(self, *, after: str, limit: int) -> list[SpecSummary]:
        """Specifications by id, each by its newest version."""
        return await self._store.read(lambda db: specs.list_specs(db, after=after, limit=limit))


def _refuse(faults: list[ProblemError]) -> None:
    if faults:
        raise InvalidRequest(faults)


def _check_same_id(spec_id: str, spec: Spec) -> None:
    if spec.spec_id != spec_id:
        detail = f"The address names the spec {spec_id!r}, the body {spec.spec_id!r}."
        _refuse([ProblemError(code="OTHER_SPEC", detail=detail, pointer="/spec_id")])


def _current_equal(db: Cursor, spec: Spec) -> SpecVersion | None:
    """A version with this content that can still come to be used: a repeat adds nothing."""
    equal = specs.find_equal_version(db, spec)
    return None if equal is None or equal.state == "SUPERSEDED" else equal


def _draft(db: Cursor, spec_id: str, version: int, hash_seen: str | None) -> SpecVersion:
    found = specs.find_version(db, spec_id, version)
    if found.state != "DRAFT":
        raise SpecFrozen(spec_id, version)
    if hash_seen is not None and hash_seen != found.hash:
        raise StaleVersion()
    return found


def _is_same_approval(version: SpecVersion, approval: SpecApproval) -> bool:
    given = (approval.meaning, approval.reason)
    return (version.approval_meaning, version.approval_reason) == given


def _with_settings(version: SpecVersion) -> SpecVersion:
    """The version with the names of its settings that no rule uses yet."""
    return msgspec.structs.replace(version, settings_not_applied=settings_not_applied(version.spec))
