"""A pressure in another unit than its name says shows in the ratio of peak to set pressure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from schemas.problems import ProblemError
from service.errors import UploadRefused
from service.storage.arrivals_file import ROWS, ArrivedFile
from service.storage.store import Cursor

IMPLAUSIBLE_RATIOS = (0.1, 10.0, 14.5, 145.0, 1 / 14.5, 1 / 145.0)
"""Bar for MPa, psi for bar, psi for MPa, and the reverse."""
RATIO_TOLERANCE = 0.05
_PLAUSIBLE_LOW = 0.5
_PLAUSIBLE_HIGH = 2.0


def check_units(
    db: Cursor, file: ArrivedFile, lots: Sequence[str], set_pressures: Mapping[str, float]
) -> None:
    """
    Refuse a table whose peak pressures are off by the factor between two units.

    Peak is compared with the set pressure of the row, or where no row of a lot
    has one, with that of the lot's specification; where neither is known there
    is nothing to compare.

    Parameters
    ----------
    db : Cursor
    file : ArrivedFile
    lots : sequence of str
        Numbers of all lots in the file.
    set_pressures : mapping of str to float
        Set pressure of a lot's specification by lot number, MPa.

    Raises
    ------
    UploadRefused
        PRESSURE_UNIT_IMPLAUSIBLE if the median ratio of a lot lies within 5 %
        of 0.1, 10, 14.5, 145 or the inverse of one.
    """
    compared: set[str] = set()
    if "pressure_set" in file.columns:
        compared = _check(db, file, f"{ROWS} AS r", file.stored("pressure_set"), {})
    wanted = {lot: set_pressures[lot] for lot in set(lots) - compared if lot in set_pressures}
    if wanted:
        specified = "(SELECT unnest($lots) AS lot_number, unnest($settings) AS setting) AS w"
        rows = f"{ROWS} AS r JOIN {specified} ON w.lot_number = {file.source('lot_number')}"
        bound = {"lots": list(wanted), "settings": list(wanted.values())}
        _check(db, file, rows, "w.setting::DOUBLE", bound)


def _check(
    db: Cursor, file: ArrivedFile, rows: str, setting: str, bound: Mapping[str, Any]
) -> set[str]:
    """Lots for which there was something to compare; `rows` and `setting` are SQL."""
    ratio = f"{file.stored('pressure_peak')} / nullif({setting}, 0)"
    parameters: dict[str, Any] = {**file.parameters, **bound}
    lot = file.source("lot_number")
    # The median of a lot lies where more than half of its ratios lie; it is only worked out
    # where that is not the plausible range.
    counts = db.execute(
        f"SELECT {lot}, count_if(isfinite({ratio})), "
        f"count_if(isfinite({ratio}) AND {ratio} BETWEEN {_PLAUSIBLE_LOW} AND {_PLAUSIBLE_HIGH}) "
        f"FROM {rows} GROUP BY ALL",
        parameters,
    ).fetchall()
    doubtful = {name for name, given, plausible in counts if given and 2 * plausible <= given}
    if doubtful:
        medians = db.execute(
            f"SELECT {lot}, median({ratio}) FILTER (WHERE isfinite({ratio})) "
            f"FROM {rows} GROUP BY ALL ORDER BY ALL",
            parameters,
        ).fetchall()
        _refuse_implausible(file, {name: median for name, median in medians if name in doubtful})
    return {str(name) for name, given, _ in counts if given}


def _refuse_implausible(file: ArrivedFile, medians: Mapping[str, float]) -> None:
    column = file.columns["pressure_peak"].source_name
    findings = [
        ProblemError(
            code="PRESSURE_UNIT_IMPLAUSIBLE",
            column=column,
            detail=f"In lot {lot} half of all peaks are {median:.4g} times the set pressure or "
            f"more, as if {column} were in another unit than its name says; give the column the "
            "name of the unit that its values are in.",
        )
        for lot, median in medians.items()
        if any(abs(median / near - 1) <= RATIO_TOLERANCE for near in IMPLAUSIBLE_RATIOS)
    ]
    if findings:
        raise UploadRefused(findings)
