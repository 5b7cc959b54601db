"""Which calibration holds when, and what it makes of a reading."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC
from itertools import pairwise

from msgspec import structs

from schemas.calibrations import Calibration, CalibrationNotice, NewCalibration
from schemas.lots import RigSettings
from schemas.sensor_corrections import RecordInForce, SensorCorrection


def true_pressure_mpa(reading_mpa: float, gain: float, offset_mpa: float) -> float:
    """
    Pressure that was there when a sensor showed a reading.

    Parameters
    ----------
    reading_mpa : float
        Shown pressure, MPa.
    gain : float
        Shown change for a true change of 1.
    offset_mpa : float
        Shown pressure at true zero, MPa.

    Returns
    -------
    float
        True pressure, MPa.

    Examples
    --------
    >>> round(true_pressure_mpa(33.25, 1.06, 0.0), 2), round(true_pressure_mpa(33.25, 0.94, 0.0), 2)
    (31.37, 35.37)
    """
    return (reading_mpa - offset_mpa) / gain


def records_in_force(records: Sequence[Calibration]) -> list[RecordInForce]:
    """
    Which calibration of each sensor holds when: where two overlap, the newer record.

    Parameters
    ----------
    records : sequence of Calibration
        In the order in which they were recorded, of any sensors.

    Returns
    -------
    list of RecordInForce
        By sensor, then time; no two of one sensor overlap. Instants are UTC. Times of
        which nothing is recorded are left out.

    Notes
    -----
    A good check (gain 1, offset 0) is a record like any other and can supersede a
    correction; `corrections_of` leaves out what changes no reading.
    """
    sensors = sorted({each.calibration.sensor_id for each in records})
    return [
        part
        for sensor_id in sensors
        for part in _of_sensor([r for r in records if r.calibration.sensor_id == sensor_id])
    ]


def _of_sensor(records: Sequence[Calibration]) -> list[RecordInForce]:
    instants = {each.calibration.from_at.astimezone(UTC) for each in records}
    instants |= {each.calibration.to_at.astimezone(UTC) for each in records}
    edges = sorted(instants)
    parts: list[RecordInForce] = []
    for from_at, to_at in pairwise(edges):
        covering = [
            each
            for each in records
            if each.calibration.from_at <= from_at and each.calibration.to_at >= to_at
        ]
        if not covering:
            continue
        newest = covering[-1]
        before = parts[-1] if parts else None
        if before is not None and before.calibration == newest and before.to_at == from_at:
            parts[-1] = structs.replace(before, to_at=to_at)
        else:
            parts.append(RecordInForce(calibration=newest, from_at=from_at, to_at=to_at))
    return parts


def corrections_of(records: Sequence[Calibration]) -> list[SensorCorrection]:
    """
    What the calibrations in force change: times in which a reading is not the true pressure.

    Parameters
    ----------
    records : sequence of Calibration
        In the order in which they were recorded, of any sensors.

    Returns
    -------
    list of SensorCorrection
        By sensor, then time, disjoint. Neighbours that say the same are one, so that a
        record that only repeats another changes nothing.
    """
    found: list[SensorCorrection] = []
    for part in records_in_force(records):
        said = part.calibration.calibration
        if is_good_check(said):
            continue
        made = SensorCorrection(
            sensor_id=said.sensor_id,
            from_at=part.from_at,
            to_at=part.to_at,
            gain=said.gain,
            offset_mpa=said.offset_mpa,
        )
        if (
            found
            and structs.replace(found[-1], to_at=made.to_at)
            == structs.replace(made, from_at=found[-1].from_at)
            and found[-1].to_at == made.from_at
        ):
            found[-1] = structs.replace(found[-1], to_at=made.to_at)
        else:
            found.append(made)
    return found


def is_good_check(calibration: NewCalibration) -> bool:
    """Whether a record says that every reading was the true pressure."""
    return calibration.gain == 1 and calibration.offset_mpa == 0


def changes_readings(record: Calibration, earlier: Iterable[Calibration]) -> bool:
    """Whether a record changed what readings say: a good check may undo an earlier one."""
    replaced = overlapping(record, earlier)
    if not is_good_check(record.calibration):
        return True
    return any(not is_good_check(each.calibration) for each in replaced)


def overlapping(record: Calibration, others: Iterable[Calibration]) -> list[Calibration]:
    """Those of the others that are about the same sensor and share time with the record."""
    said = record.calibration
    return [
        each
        for each in others
        if each.calibration_id != record.calibration_id
        and each.calibration.sensor_id == said.sensor_id
        and each.calibration.from_at < said.to_at
        and said.from_at < each.calibration.to_at
    ]


def own_sensors(rigs: Mapping[str, RigSettings]) -> dict[tuple[str, int], str]:
    """
    The sensor of each station, for rows that name none.

    Parameters
    ----------
    rigs : mapping of str to RigSettings
        Settings by rig.

    Returns
    -------
    dict of (str, int) to str
        By rig and station. A station of which the settings name several sensors is left
        out: which of them read a row is not known.
    """
    named: dict[tuple[str, int], set[str]] = defaultdict(set)
    for rig_id, settings in rigs.items():
        for sensor in settings.sensors:
            if sensor.station_no is not None:
                named[rig_id, sensor.station_no].add(sensor.sensor_id)
    return {place: min(sensors) for place, sensors in named.items() if len(sensors) == 1}


def reads_low(
    calibration: NewCalibration, highest_shown_mpa: float | None
) -> CalibrationNotice | None:
    """
    Notice of a sensor that showed less than was there: the dangerous direction.

    Parameters
    ----------
    calibration : NewCalibration
        What the check found.
    highest_shown_mpa : float or None
        Highest reading of the sensor in that time, MPa; None where it is not known.

    Returns
    -------
    CalibrationNotice or None
        With the shown and the true pressure at that reading or, where the sensor showed
        too little only when nearly empty, at a reading of zero. None where no reading up to
        the highest was below the true pressure by more than the sensor's stated uncertainty.

    Notes
    -----
    The error is a straight line in the reading, so its extremes lie at the two ends.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> found = NewCalibration(calibration_key="K-1", sensor_id="PT-B4", gain=0.94,
    ...     offset_mpa=0.0, reason="yearly check", found_at=datetime(2025, 9, 1, tzinfo=UTC),
    ...     from_at=datetime(2025, 6, 1, tzinfo=UTC), to_at=datetime(2025, 9, 1, tzinfo=UTC))
    >>> notice = reads_low(found, 33.25)
    >>> notice.code, round(notice.true_mpa, 1)
    ('READS_LOW', 35.4)
    """
    tolerated = calibration.pressure_uncertainty_mpa or 0.0
    shown = [0.0] if highest_shown_mpa is None else [highest_shown_mpa, 0.0]
    for reading in shown:
        true = true_pressure_mpa(reading, calibration.gain, calibration.offset_mpa)
        if true - reading > tolerated:
            return CalibrationNotice(code="READS_LOW", shown_mpa=reading, true_mpa=true)
    if highest_shown_mpa is None and calibration.gain < 1:
        return CalibrationNotice(code="READS_LOW")
    return None
