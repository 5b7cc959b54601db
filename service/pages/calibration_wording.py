"""Wording about calibrations of sensors, and what a page says of each of their notices."""

from __future__ import annotations

from schemas.calibrations import CalibrationNotice, NewCalibration
from service.pages import units
from service.pages.units import NO_BREAK, PressureUnit

NOTICES: dict[str, str] = {
    "READS_LOW": (
        "This sensor showed less than was there, which is the dangerous direction. Stop running "
        "on it, and treat every unit and part of its stations as stressed beyond what was shown. "
        "A gauge at zero proves nothing: verify zero at each unit before anybody touches it."
    ),
    "STATION_HAS_SEVERAL_SENSORS": (
        "Rows of this time name no sensor, and the settings of their rig name several for the "
        "station, this one among them. Those rows were not corrected: nobody can tell which "
        "sensor read them."
    ),
}
"""What somebody must act on at once."""

DECISION_MARKS: dict[str, str] = {
    "WITHDRAWN_BY_CORRECTION": (
        "withdrawn: rows that it rested on were corrected later, and lives changed"
    ),
}
"""How a recorded decision stands, beside being outdated."""


def error_text(said: NewCalibration, unit: PressureUnit) -> str:
    """
    What a check found, as a sum.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> found = NewCalibration(calibration_key="K-1", sensor_id="PT-B4", gain=1.06,
    ...     offset_mpa=-0.2, reason="yearly check", found_at=datetime(2025, 9, 1, tzinfo=UTC),
    ...     from_at=datetime(2025, 6, 1, tzinfo=UTC), to_at=datetime(2025, 9, 1, tzinfo=UTC))
    >>> error_text(found, "mpa").replace(NO_BREAK, " ")
    'shown = 1.06 × true − 0.20 MPa'
    """
    if said.gain == 1 and said.offset_mpa == 0:
        return "a good check: shown = true"
    gain = "" if said.gain == 1 else f"{said.gain:.6g}{NO_BREAK}×{NO_BREAK}"
    if said.offset_mpa == 0:
        return f"shown = {gain}true"
    sign = "−" if said.offset_mpa < 0 else "+"
    return f"shown = {gain}true {sign} {units.pressure_text(abs(said.offset_mpa), unit)}"


def notice_text(notice: CalibrationNotice, unit: PressureUnit) -> str:
    """
    A notice in sentences, with its pressures.

    Examples
    --------
    >>> notice = CalibrationNotice(code="READS_LOW", shown_mpa=33.25, true_mpa=35.372)
    >>> notice_text(notice, "mpa").replace(NO_BREAK, " ").split(". ")[0]
    'Where 33.25 MPa (4,823 psi) was shown, 35.37 MPa (5,130 psi) was there'
    """
    text = NOTICES[notice.code]
    if not isinstance(notice.shown_mpa, float) or not isinstance(notice.true_mpa, float):
        return text
    shown = units.pressure_both_text(notice.shown_mpa, unit)
    true = units.pressure_both_text(notice.true_mpa, unit)
    return f"Where {shown} was shown, {true} was there. {text}"
