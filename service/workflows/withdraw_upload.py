"""Withdrawing an upload: a person signs that its rows count no more; nothing is deleted."""

from __future__ import annotations

from schemas.corrections import NewWithdrawal, Withdrawal
from service.errors import AlreadyExists, PersonNeeded
from service.storage import uploads, withdrawals
from service.storage.facts import Stamp
from service.storage.retakes import (
    OpenOriginal,
    lots_of_lives,
    places_of_upload,
    retake_lives,
    retake_places,
)
from service.storage.store import Cursor, Store
from service.storage.touched import lots_at, lots_numbered, units_of_lives, units_of_rows
from service.tokens import Actor
from service.workflows.change_effects import make_change
from service.workflows.clock import Clock, stamp_of
from service.workflows.kept_originals import originals_of


class Withdrawals:
    """What can be done about uploads that should not have been made."""

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store = store
        self._clock = clock

    async def withdraw(
        self, upload_id: str, body: NewWithdrawal, actor: Actor
    ) -> tuple[Withdrawal, bool]:
        """
        Record that the rows of an upload count no more.

        Rows that another upload brought too go on counting: they are taken from its kept
        original, in the same transaction. Rows that conflicted with withdrawn ones take
        their place.

        Parameters
        ----------
        upload_id : str
        body : NewWithdrawal
        actor : Actor
            A person; a program may not sign.

        Returns
        -------
        tuple of Withdrawal and bool
            What it did to each lot. The second value is False for a repeat.

        Raises
        ------
        PersonNeeded
            If the actor is a program.
        NotFound
            If there is no such upload.
        AlreadyExists
            If it was withdrawn with another meaning or reason, or by somebody else.
        OriginalDamaged
            If the kept original of an upload that shares rows cannot be read.
        """
        if actor.kind != "PERSON":
            raise PersonNeeded("the withdrawal of an upload")
        stamp = stamp_of(self._clock, actor)
        originals = originals_of(self._store)

        def change(db: Cursor) -> tuple[Withdrawal, bool]:
            upload_key, _ = uploads.find_upload(db, upload_id)
            known = withdrawals.find_withdrawal(db, upload_key)
            if known is not None:
                if (known.meaning, known.reason, known.withdrawn_by) != (*_said(body), stamp.by):
                    raise AlreadyExists("withdrawal of upload", upload_id)
                return known, False
            _withdraw(db, upload_id, body, stamp, originals)
            return withdrawals.read_withdrawal(db, upload_key, upload_id), True

        return await self._store.write(change)

    async def find(self, upload_id: str) -> Withdrawal:
        """
        The withdrawal of an upload.

        Raises
        ------
        NotFound
            If there is no such upload, or it was not withdrawn.
        """

        def question(db: Cursor) -> Withdrawal:
            upload_key, _ = uploads.find_upload(db, upload_id)
            return withdrawals.read_withdrawal(db, upload_key, upload_id)

        return await self._store.read(question)


def _said(body: NewWithdrawal) -> tuple[str, str]:
    return body.meaning, body.reason


def _withdraw(
    db: Cursor, upload_id: str, body: NewWithdrawal, stamp: Stamp, originals: OpenOriginal
) -> None:
    upload_key, _ = uploads.find_upload(db, upload_id)
    change_id = withdrawals.withdrawal_id(upload_id)
    places, lot_numbers = places_of_upload(db, upload_key), lots_of_lives(db, upload_key)
    units = units_of_rows(db, upload_key) | units_of_lives(db, upload_key)
    lot_keys = lots_at(db, places) | lots_numbered(db, lot_numbers)

    def change() -> None:
        withdrawals.add_withdrawal(db, upload_key, upload_id, body, stamp)
        retake_places(db, places, change_id, originals)
        retake_lives(db, lot_numbers, change_id, originals)

    make_change(db, change_id, lot_keys, units, change)
