"""Pages out of answers: each function takes built answers and gives one page of HTML."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from importlib.resources import files
from typing import Any
from urllib.parse import quote, urlencode

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from msgspec import UNSET, Struct

from schemas.calibrations import Calibration, CalibrationReport
from schemas.corrections import LotChange
from schemas.decisions import Decision, Evaluation, RowChange
from schemas.failure_records import FailureRecordReport
from schemas.fit_answers import LotFits
from schemas.lives import UnitLife
from schemas.lot_comparisons import LotHomogeneity
from schemas.lots import Lot
from schemas.sample_draws import SampleDraw
from schemas.specs import SpecVersion
from schemas.trends import UnitTrend
from service.pages import (
    calibration_wording,
    change_wording,
    charts,
    failure_wording,
    fit_sentences,
    fit_wording,
    life_sentences,
    plan_wording,
    pressure_sentences,
    pressure_wording,
    proven_risks,
    risk_wording,
    sentences,
    trend_chart,
    trend_sentences,
    trend_wording,
    units,
    wording,
)
from service.pages.units import PRESSURE_UNIT_LABELS, PressureUnit

STANDARD_UNIT: PressureUnit = "mpa"
"""Unit of pressure of a reader who names none: the one that is stored."""

BADGE_PATHS: dict[str, str] = {
    "ACCEPT": "M2,2 H18 V18 H2 Z M6,10 L9,13 L15,6",
    "NOT_DEMONSTRATED": "M2,2 H18 V18 H2 Z M2,18 L18,2",
    "SHOWN_BELOW_REQUIREMENT": "M2,2 H18 V18 H2 Z M2,18 L18,2 M2,2 L18,18",
    "CONTINUE": "M2,2 H18 M2,2 V18 M2,18 H18 M8,10 H19 M15,6 L19,10 L15,14",
    "HOLD": "M2,2 H18 V18 H2 Z M7,6 V14 M13,6 V14",
}
"""A ticked, once or twice struck, open or barred box: shapes, not colours; words stand beside."""


class LotEntry(Struct, frozen=True, kw_only=True):
    """One line of the list of lots."""

    lot: Lot
    evaluation: Evaluation
    decision: Decision | None = None


class LotHistory(Struct, frozen=True, kw_only=True):
    """How a lot's sample was drawn and what persons signed about its rows, oldest first."""

    draws: list[SampleDraw] = []
    changes: list[LotChange] = []


_NO_HISTORY = LotHistory()


class FitsAsked(Struct, frozen=True, kw_only=True):
    """What a reader asks of a lot's fits; None where neither form nor specification says it."""

    confidence: float | None
    at_cycles: int | None
    second_opinion: bool
    is_chosen: bool
    """Whether the reader chose any of it, so that it is not the specification's."""


class FitsAnswer(Struct, frozen=True, kw_only=True):
    """Fits of a lot, and comparisons of its stations, rigs and batches."""

    fits: LotFits
    comparisons: list[LotHomogeneity]


def render_lots(
    entries: Sequence[LotEntry], *, pressure_unit: PressureUnit, next_page: str | None = None
) -> str:
    """
    The list of lots.

    Parameters
    ----------
    entries : sequence of LotEntry
        Lots in the list's order, each with its evaluation as of now.
    pressure_unit : {"mpa", "bar", "psi"}, keyword only
        The reader's unit, kept in links.
    next_page : str, optional, keyword only
        Address of the next page of the list.
    """
    return _render("lots.html", pressure_unit, "/lots", entries=entries, next_page=next_page)


def render_lot(
    evaluation: Evaluation,
    *,
    lot: Lot,
    decisions: Sequence[Decision],
    spec: SpecVersion | None,
    calibrations: Sequence[Calibration] = (),
    failure_records: Sequence[FailureRecordReport] = (),
    history: LotHistory = _NO_HISTORY,
    pressure_unit: PressureUnit,
) -> str:
    """
    The page of one lot: verdict, argument, units, open items, what is needed, provenance.

    Parameters
    ----------
    evaluation : Evaluation
        What can be said about the lot now.
    lot : Lot, keyword only
        The lot as it is registered.
    decisions : sequence of Decision, keyword only
        Recorded verdicts, newest first.
    spec : SpecVersion or None, keyword only
        The version that the evaluation rests on; None where there is none.
    calibrations : sequence of Calibration, optional, keyword only
        Records about sensors that read its cycles.
    failure_records : sequence of FailureRecordReport, optional, keyword only
        The newest failure record of each unit that has one.
    history : LotHistory, optional, keyword only
        How its sample was drawn, and which rows were withdrawn or corrected.
    pressure_unit : {"mpa", "bar", "psi"}, keyword only
        The reader's unit of pressure.
    """
    return _render(
        "lot.html",
        pressure_unit,
        f"/lots/{quote(lot.lot_id, safe='')}",
        evaluation=evaluation,
        history=history,
        lot=lot,
        decisions=decisions,
        spec=spec,
        calibrations=calibrations,
        failure_records=failure_records,
        of_unit=False,
    )


def render_calibration(report: CalibrationReport, *, pressure_unit: PressureUnit) -> str:
    """
    The page of one calibration: what was found, notices, and what it touches.

    Parameters
    ----------
    report : CalibrationReport
        The record with its look-back as of now.
    pressure_unit : {"mpa", "bar", "psi"}, keyword only
        The reader's unit of pressure.
    """
    path = f"/calibrations/{quote(report.calibration_id, safe='')}"
    return _render("calibration.html", pressure_unit, path, report=report)


def render_risks(*, pressure_unit: PressureUnit) -> str:
    """
    The page of proven risks: how often each kind of plan accepts lots at the requirement.

    Parameters
    ----------
    pressure_unit : {"mpa", "bar", "psi"}, keyword only
        The reader's unit, kept in links.
    """
    return _render("risks.html", pressure_unit, "/risks", risks=proven_risks.proven_risks())


def render_unit(
    life: UnitLife,
    *,
    lot_id: str,
    spec: SpecVersion | None,
    failure_records: Sequence[FailureRecordReport] = (),
    trend: UnitTrend | None = None,
    changes: Sequence[RowChange] = (),
    pressure_unit: PressureUnit,
) -> str:
    """
    The page of one unit: its life, the stretches it is made of, and why it is what it is.

    Parameters
    ----------
    life : UnitLife
        The life under the lot's specification.
    lot_id : str, keyword only
        Lot to lead back to.
    spec : SpecVersion or None, keyword only
        The version that the life was reduced under.
    failure_records : sequence of FailureRecordReport, optional, keyword only
        Every failure record of the unit, newest first.
    trend : UnitTrend or None, optional, keyword only
        Its trend in few points; without it, or without a point, no trend is shown.
    changes : sequence of RowChange, optional, keyword only
        Withdrawals and corrections that speak of the unit.
    pressure_unit : {"mpa", "bar", "psi"}, keyword only
        The reader's unit of pressure.
    """
    path = f"/units/{quote(life.unit_id, safe='')}"
    return _render(
        "unit.html",
        pressure_unit,
        path,
        life=life,
        lot_id=lot_id,
        spec=spec,
        failure_records=failure_records,
        trend=trend,
        changes=changes,
        of_unit=True,
    )


def render_fits(
    lot: Lot, answer: FitsAnswer | None, *, asked: FitsAsked, pressure_unit: PressureUnit
) -> str:
    """
    The page of a lot's life distributions: drawing, tables, warnings, second opinion.

    Parameters
    ----------
    lot : Lot
    answer : FitsAnswer or None
        None while neither a specification nor the reader says what is asked.
    asked : FitsAsked, keyword only
        What the form shows.
    pressure_unit : {"mpa", "bar", "psi"}, keyword only
        The reader's unit, kept in links.
    """
    return _render(
        "fits.html",
        pressure_unit,
        f"/lots/{quote(lot.lot_id, safe='')}/fits",
        lot=lot,
        fits=None if answer is None else answer.fits,
        comparisons=[] if answer is None else answer.comparisons,
        confidence=asked.confidence,
        at_cycles=asked.at_cycles,
        second_opinion=asked.second_opinion,
        is_chosen=asked.is_chosen,
    )


@lru_cache(maxsize=1)
def stylesheet() -> bytes:
    """The one stylesheet of all pages."""
    return files("service.pages").joinpath("static", "style.css").read_bytes()


def badge(verdict: str, kind: object) -> Markup:
    """Shape of a verdict; it says nothing on its own, the words stand beside it."""
    key = kind if verdict == "REJECT" and isinstance(kind, str) else verdict
    return Markup(
        '<svg class="badge" viewBox="0 0 20 20" aria-hidden="true"><path d="{path}"/></svg>'
    ).format(path=BADGE_PATHS.get(str(key), BADGE_PATHS["NOT_DEMONSTRATED"]))


def is_given(value: object) -> bool:
    """Whether an optional field holds something."""
    return value is not UNSET and value is not None


def _render(template: str, pressure_unit: PressureUnit, path: str, **values: Any) -> str:
    """A template filled in, with links that keep the reader's unit."""

    def link(*segments: str, unit: PressureUnit = pressure_unit) -> str:
        """Address below the root; segments are escaped."""
        address = "/" + "/".join(quote(segment, safe="") for segment in segments)
        query = "" if unit == STANDARD_UNIT else "?" + urlencode({"pressure_unit": unit})
        return address + query

    return (
        _environment()
        .get_template(template)
        .render(
            link=link,
            pressure_unit=pressure_unit,
            unit_choices=PRESSURE_UNIT_LABELS,
            here=[segment for segment in path.split("/") if segment],
            **values,
        )
    )


@lru_cache(maxsize=1)
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("service.pages", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.tests["given"] = is_given
    environment.globals.update(
        badge=badge,
        calibration_words=calibration_wording,
        change_words=change_wording,
        charts=charts,
        failure_words=failure_wording,
        fit=fit_sentences,
        fit_words=fit_wording,
        lives=life_sentences,
        say=wording.say,
        plan_wording=plan_wording,
        pressure_words=pressure_wording,
        pressures=pressure_sentences,
        risk_figures=proven_risks,
        risk_words=risk_wording,
        sentences=sentences,
        trend_chart=trend_chart,
        trend_words=trend_wording,
        trends=trend_sentences,
        units=units,
        words=wording,
    )
    return environment
