"""The open service: one store, and everything that can be done with it, grouped by noun."""

from __future__ import annotations

from functools import partial

import anyio.to_thread

from service.intake.spool import sweep_spool
from service.settings import Settings
from service.signing import SigningKey, open_signing_key
from service.storage.store import Store
from service.workflows.acceleration import Acceleration
from service.workflows.attachments import Attachments
from service.workflows.audit_trail import AuditTrail
from service.workflows.browse import Evaluations, Units
from service.workflows.calibrations import Calibrations
from service.workflows.clock import Clock, utc_now
from service.workflows.computing import Workers
from service.workflows.correct_rows import Corrections
from service.workflows.decide_lot import Decisions
from service.workflows.dispose_hold import Holds
from service.workflows.evidence_packs import EvidencePacks
from service.workflows.failure_records import FailureRecords
from service.workflows.fits import Fits
from service.workflows.lots import Lots
from service.workflows.populations import Populations
from service.workflows.records import Records
from service.workflows.sample_draws import SampleDraws
from service.workflows.specs import Specs
from service.workflows.take_upload import Uploads
from service.workflows.withdraw_upload import Withdrawals


class Application:
    """
    What handlers and pages work with; made by `open`.

    Nothing is kept here but the store: an answer rests on what is on disk.
    """

    def __init__(self, store: Store, settings: Settings, clock: Clock, key: SigningKey) -> None:
        self._store = store
        self._is_open = True
        self.specs = Specs(store, clock)
        self.lots = Lots(store, clock)
        self.sample_draws = SampleDraws(store, clock)
        self.units = Units(store)
        self.records = Records(store, clock)
        self.calibrations = Calibrations(store, clock)
        self.uploads = Uploads(store, settings, clock)
        self.withdrawals = Withdrawals(store, clock)
        self.corrections = Corrections(store, clock)
        self.attachments = Attachments(store, settings, clock)
        self.failure_records = FailureRecords(store, clock)
        self.evaluations = Evaluations(store)
        self.decisions = Decisions(store, clock)
        self.holds = Holds(store, clock)
        workers = Workers()
        self.audit_trail = AuditTrail(store)
        self.evidence_packs = EvidencePacks(store, key)
        self.fits = Fits(store, workers)
        self.populations = Populations(store, workers)
        self.acceleration = Acceleration(workers)

    @classmethod
    async def open(cls, settings: Settings, *, clock: Clock = utc_now) -> Application:
        """
        Open the data directory, making it if it is not there yet.

        Parameters
        ----------
        settings : Settings
        clock : callable, optional, keyword only
            Gives the present instant; every recorded instant comes from it.

        Raises
        ------
        DataDirectoryInUse
            If another process works on it.
        """
        opening = partial(
            Store.open,
            settings.data_directory,
            memory_limit=settings.memory_limit,
            threads=settings.thread_count,
        )
        store = await anyio.to_thread.run_sync(opening)
        # What a killed process left half received; nobody is uploading yet.
        await anyio.to_thread.run_sync(sweep_spool, store.spool_folder)
        key = await anyio.to_thread.run_sync(open_signing_key, settings.data_directory)
        return cls(store, settings, clock, key)

    @property
    def ready(self) -> bool:
        """Whether the store is open."""
        return self._is_open

    async def close(self) -> None:
        """Wait for what is being written, then close the store; a second call does nothing."""
        self._is_open = False
        await anyio.to_thread.run_sync(self._store.close)
