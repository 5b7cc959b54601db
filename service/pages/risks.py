"""The page of proven risks, the same for every lot."""

from __future__ import annotations

from typing import Annotated

from litestar import get
from litestar.enums import MediaType
from litestar.params import QueryParameter

from service.auth import requires
from service.pages.units import PressureUnit
from service.pages.views import STANDARD_UNIT, render_risks


@get(
    "/risks",
    guards=[requires("lots.read")],
    include_in_schema=False,
    media_type=MediaType.HTML,
)
async def show_risks(
    pressure_unit: Annotated[
        PressureUnit, QueryParameter(description="Unit in which pressures are shown.")
    ] = STANDARD_UNIT,
) -> str:
    """Exact, simulated and stressed risks of every kind of plan."""
    return render_risks(pressure_unit=pressure_unit)
