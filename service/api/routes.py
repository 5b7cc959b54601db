"""Every route of the service: a resource adds its handlers or router to one of these lists."""

from __future__ import annotations

from litestar.types import ControllerRouterHandler

from service.api import (
    acceleration,
    attachments,
    audit_trail,
    calibrations,
    corrections,
    decisions,
    docs,
    evaluations,
    evidence,
    failure_records,
    fits,
    health,
    holds,
    inspections,
    lots,
    plans,
    populations,
    problem_pages,
    rigs,
    sample_draws,
    sign_in,
    specs,
    units,
    uploads,
)
from service.pages.routes import ROUTERS as PAGE_ROUTERS

ROUTERS: list[ControllerRouterHandler] = [
    *specs.HANDLERS,
    *lots.HANDLERS,
    *sample_draws.HANDLERS,
    *evaluations.HANDLERS,
    *holds.HANDLERS,
    *decisions.HANDLERS,
    *units.HANDLERS,
    *uploads.HANDLERS,
    *corrections.HANDLERS,
    *rigs.HANDLERS,
    *inspections.HANDLERS,
    *failure_records.HANDLERS,
    *attachments.HANDLERS,
    *calibrations.HANDLERS,
    *plans.HANDLERS,
    *fits.HANDLERS,
    *populations.HANDLERS,
    *acceleration.HANDLERS,
    *audit_trail.HANDLERS,
    *evidence.HANDLERS,
]
"""Below /v1, paths without that prefix: JSON, bearer token, strict bodies."""

PAGES: list[ControllerRouterHandler] = [*PAGE_ROUTERS]
"""Outside /v1, each with ``include_in_schema=False``: HTML for people."""

OWN: list[ControllerRouterHandler] = [
    *health.HANDLERS,
    *docs.HANDLERS,
    *problem_pages.HANDLERS,
    *sign_in.HANDLERS,
]
"""The frame itself: health, documentation, kinds of problem, signing in."""
