"""Calibrations of sensors: recorded, listed, and what each of them touches."""

from __future__ import annotations

from analysis.reduction.sensor_corrections import overlapping
from schemas.calibrations import Calibration, CalibrationReport, NewCalibration
from schemas.problems import ProblemError
from service.errors import AlreadyExists, InvalidRequest, NotFound
from service.storage import calibrations
from service.storage.recall import recall
from service.storage.store import Cursor, Store
from service.tokens import Actor
from service.workflows.clock import Clock, stamp_of
from service.workflows.look_back import look_back, notices_of
from service.workflows.records import check_instant
from service.workflows.reduce_lot import read_lot
from service.workflows.sensor_corrections import records_about, rows_read


class Calibrations:
    """What can be done with the calibrations of sensors."""

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store = store
        self._clock = clock

    async def record(
        self, calibration: NewCalibration, actor: Actor
    ) -> tuple[CalibrationReport, bool]:
        """
        Record what a check of a sensor found, and look back at what it touches.

        Parameters
        ----------
        calibration : NewCalibration
        actor : Actor

        Returns
        -------
        tuple of CalibrationReport and bool
            The second value is False for a repeat: the same key with the same content
            adds nothing.

        Raises
        ------
        InvalidRequest
            If its time is empty, or an instant cannot be one of a rig.
        AlreadyExists
            If the key was used for another calibration.
        """
        _check(calibration)
        stamp = stamp_of(self._clock, actor)

        def change(db: Cursor) -> tuple[CalibrationReport, bool]:
            found = calibrations.find_by_key(db, calibration.calibration_key)
            if found is None:
                made = calibrations.add_calibration(db, calibration, stamp)
                return _report(db, made, keep=True), True
            if found[1].calibration != calibration:
                raise AlreadyExists("calibration", calibration.calibration_key)
            return _report(db, found, keep=True), False

        return await self._store.write(change)

    async def find(self, calibration_id: str) -> CalibrationReport:
        """
        One calibration with its look-back as the facts stand now.

        Raises
        ------
        NotFound
            If there is no such calibration.
        """

        def question(db: Cursor) -> CalibrationReport:
            found = calibrations.find_by_id(db, calibration_id)
            if found is None:
                raise NotFound("calibration", calibration_id)
            return _report(db, found, keep=False)

        return await self._store.read(question)

    async def all(
        self, sensor_id: str | None, *, after: int, limit: int
    ) -> list[tuple[int, Calibration]]:
        """Calibrations of a sensor (of all without one), as recorded, with their place."""
        return await self._store.read(
            lambda db: calibrations.list_calibrations(db, sensor_id, after=after, limit=limit)
        )

    async def of_lot(self, lot_id: str) -> list[Calibration]:
        """
        Calibrations of sensors that read rows of a lot in the time they speak of, as recorded.

        Raises
        ------
        NotFound
            If there is no such lot.
        """

        def question(db: Cursor) -> list[Calibration]:
            return recall(("calibrations of lot", lot_id), lambda: _of_lot(db, lot_id))

        return await self._store.read(question)


def _of_lot(db: Cursor, lot_id: str) -> list[Calibration]:
    facts = read_lot(db, lot_id).facts
    return [
        record
        for _, record in records_about(db, facts)
        if rows_read(db, record.calibration, lot_key=facts.lot_key).units
    ]


def _check(calibration: NewCalibration) -> None:
    faults = [
        fault
        for name in ("from_at", "to_at", "found_at")
        for fault in check_instant(getattr(calibration, name), f"/{name}")
    ]
    if calibration.from_at >= calibration.to_at:
        detail = "from_at must lie before to_at; readings at to_at itself are not meant."
        faults.append(ProblemError(code="EMPTY_PERIOD", detail=detail, pointer="/to_at"))
    if faults:
        raise InvalidRequest(faults)


def _report(db: Cursor, numbered: calibrations.Numbered, *, keep: bool) -> CalibrationReport:
    entry_no, record = numbered
    said = record.calibration
    during = calibrations.calibrations_during(db, said.from_at, said.to_at)
    earlier = overlapping(record, [each for number, each in during if number < entry_no])
    later = overlapping(record, [each for number, each in during if number > entry_no])
    read = rows_read(db, said)
    return CalibrationReport(
        calibration_id=record.calibration_id,
        calibration=record.calibration,
        recorded_at=record.recorded_at,
        recorded_by=record.recorded_by,
        notices=notices_of(said, read),
        supersedes=[each.calibration_id for each in earlier],
        superseded_by=[each.calibration_id for each in later],
        lots=look_back(db, numbered, read, keep=keep),
    )
