"""The page of one calibration: what it says, what to do at once, and what it touches."""

from __future__ import annotations

from typing import Annotated

from litestar import get
from litestar.enums import MediaType
from litestar.params import FromPath, QueryParameter

from service.api.given import Workflows
from service.auth import requires
from service.pages.units import PressureUnit
from service.pages.views import STANDARD_UNIT, render_calibration


@get(
    "/calibrations/{calibration_id:str}",
    guards=[requires("lots.read")],
    include_in_schema=False,
    media_type=MediaType.HTML,
)
async def show_calibration(
    calibration_id: FromPath[str],
    workflows: Workflows,
    pressure_unit: Annotated[
        PressureUnit, QueryParameter(description="Unit in which pressures are shown.")
    ] = STANDARD_UNIT,
) -> str:
    """One calibration with its look-back as the facts stand now."""
    report = await workflows.calibrations.find(calibration_id)
    return render_calibration(report, pressure_unit=pressure_unit)
