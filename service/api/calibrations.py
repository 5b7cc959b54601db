"""Calibrations of sensors over HTTP."""

from __future__ import annotations

from typing import Annotated

from litestar import Response, get, post
from litestar.params import FromPath, JSONBody, QueryParameter

from schemas.calibrations import Calibration, CalibrationReport, NewCalibration
from schemas.paging import Page
from service.api.answers import address, made, repeat_of
from service.api.given import ActorGiven, AnyRequest, Workflows
from service.api.lists import after_number, numbered_page
from service.api.paging import PAGING, PagingGiven
from service.auth import requires

_TAGS = ["Calibrations"]


@post(
    "/calibrations",
    operation_id="record_calibration",
    summary="Record what a check of a pressure sensor found",
    tags=_TAGS,
    guards=[requires("results.write")],
    responses=repeat_of(CalibrationReport),
    opt={"problems": ["conflict"]},
)
async def record_calibration(
    data: JSONBody[NewCalibration], workflows: Workflows, actor: ActorGiven
) -> Response[CalibrationReport]:
    """
    Records a sensor's error over a time and answers with everything that it touches.

    READS_LOW among the notices: the true pressure was above the shown one. Stop running on
    that sensor and treat everything it was on as taken beyond what was shown; verify zero
    at each unit before anybody touches it.
    """
    report, is_new = await workflows.calibrations.record(data, actor)
    return made(report, is_new=is_new, location=address("calibrations", report.calibration_id))


@get(
    "/calibrations",
    operation_id="list_calibrations",
    summary="List calibrations of sensors",
    tags=_TAGS,
    guards=[requires("lots.read")],
    dependencies=PAGING,
)
async def list_calibrations(
    request: AnyRequest,
    workflows: Workflows,
    paging: PagingGiven,
    sensor_id: Annotated[str | None, QueryParameter(description="Only this sensor.")] = None,
) -> Page[Calibration]:
    """Calibrations in the order in which they were recorded."""
    found = await workflows.calibrations.all(
        sensor_id, after=after_number(paging), limit=paging.fetch_count
    )
    return numbered_page(found, request=request, paging=paging)


@get(
    "/calibrations/{calibration_id:str}",
    operation_id="read_calibration",
    summary="Read a calibration and everything that it touches",
    tags=_TAGS,
    guards=[requires("lots.read")],
)
async def read_calibration(
    calibration_id: FromPath[str], workflows: Workflows
) -> CalibrationReport:
    """The record, its notices, and lots, units and decisions as they stand with and without it."""
    return await workflows.calibrations.find(calibration_id)


HANDLERS = [record_calibration, list_calibrations, read_calibration]
