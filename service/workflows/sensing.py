"""What is known of the sensor behind some rows: rows of equal sensing are judged alike."""

from __future__ import annotations

from msgspec import Struct

from analysis.reduction.rules import full_scale_mpa
from service.storage.lot_facts import LotFacts


class Sensing(Struct, frozen=True, kw_only=True):
    """
    Full scale and expanded uncertainty of a sensor, MPa; None where nobody recorded it.

    `is_off` says that calibrations in force make other pressures of its readings.
    """

    full_scale_mpa: float | None = None
    uncertainty_mpa: float | None = None
    is_off: bool = False


UNKNOWN_SENSING = Sensing()
"""Nothing is known, or it does not matter."""


def sensing_of(facts: LotFacts, stretch_key: int, rig_id: str, station_no: int) -> Sensing:
    """What the facts of a lot say of the sensor that read one of its stretches."""
    return Sensing(
        full_scale_mpa=full_scale_mpa(facts.rigs.get(rig_id), station_no),
        uncertainty_mpa=facts.uncertainties.get(stretch_key),
        is_off=stretch_key in facts.sensor_corrections,
    )
