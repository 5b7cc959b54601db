"""Life against pressure over HTTP. Nothing is kept."""

from __future__ import annotations

from litestar import post
from litestar.params import JSONBody

from schemas.acceleration_requests import AccelerationReport, NewAcceleration
from service.api.given import Workflows
from service.auth import requires

_TAGS = ["Life distributions"]


@post(
    "/acceleration",
    operation_id="fit_pressure_life",
    summary="Fit life against pressure",
    tags=_TAGS,
    guards=[requires("lots.read")],
    status_code=200,
    opt={"problems": ["outside-domain"]},
)
async def fit_pressure_life(
    data: JSONBody[NewAcceleration], workflows: Workflows
) -> AccelerationReport:
    """
    Inverse power law with one Weibull shape, the exponent with limits, life at the use
    pressure, and cycles of equal damage.

    Outside the tested pressures the answer is an extrapolation and says so.
    """
    return await workflows.acceleration.report(data)


HANDLERS = [fit_pressure_life]
