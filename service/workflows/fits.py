"""Fits of lives that a caller sends, or of a lot's lives as they stand; nothing is recorded."""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec
from msgspec import UNSET

from analysis.decision.life_fit import life_ends, observed_lives
from analysis.statistics.competing_modes import ModeLives, mode_lives
from analysis.statistics.life_records import LifeRecords
from analysis.statistics.reliability_library import second_opinion
from schemas.estimates import NotEstimable
from schemas.fit_answers import FitReport, FitWarningCode, LotFits, UsedLife
from schemas.fit_requests import FitQuestion, NewFit
from schemas.fits import Distribution
from schemas.lives import UnitLife
from schemas.second_opinion import SecondOpinion
from service.storage.store import Store
from service.workflows.computing import Workers
from service.workflows.fit_report import Lives, fit_report, fits_of
from service.workflows.given_lives import given_lives, given_mode_lives
from service.workflows.lot_lives import LotLives, answer_key, read_lot_lives

LIBRARY_SECONDS = 30.0
"""Longest wait for a second opinion; the first one of a process imports the library."""

_NOT_ANALYSED = "UNANALYSED"
_OPINION_ON: tuple[Distribution, ...] = ("WEIBULL", "LOGNORMAL", "EXPONENTIAL")


class Fits:
    """Life distributions of given lives and of lots."""

    def __init__(self, store: Store, workers: Workers) -> None:
        self._store = store
        self._workers = workers

    async def of_lives(self, body: NewFit) -> FitReport:
        """
        Fit lives that a caller sent.

        Raises
        ------
        InvalidRequest
            If a life lacks what its ending needs, or modes are given for some failures only.
        OutsideDomainError
            If a number is outside the range of a method.
        """
        lives = Lives(records=given_lives(body.lives), with_modes=given_mode_lives(body.lives))
        return await self._report(lives, body)

    async def of_lot(self, lot_id: str, question: FitQuestion) -> LotFits:
        """
        Fit the lives of a lot as they stand.

        Raises
        ------
        NotFound
            If there is no such lot.
        OutsideDomainError
            If a number is outside the range of a method.
        """
        lot = await self._store.read(lambda db: read_lot_lives(db, lot_id))
        records = observed_lives([life.outcome for life in lot.lives])
        report: FitReport | NotEstimable
        if isinstance(records, NotEstimable):
            report = records
        else:
            lives = Lives(records=records, with_modes=_mode_lives(lot.lives))
            report = await self._report(lives, question)
            if lot.open_hold_count:
                report = _warned(report, "OPEN_HOLDS")
        return _lot_fits(lot, report, question)

    async def _report(self, lives: Lives, question: FitQuestion) -> FitReport:
        report = await self._workers.run(lambda: fit_report(lives, question))
        if not question.second_opinion:
            return report
        opinion = await self._second_opinion(lives.records)
        report = msgspec.structs.replace(report, second_opinion=opinion)
        if isinstance(opinion, SecondOpinion) and any(
            each.code in ("OURS_HIGHER", "DISAGREES") for each in opinion.distributions
        ):
            report = _warned(report, "SECOND_OPINION_DIFFERS")
        return report

    async def _second_opinion(self, records: LifeRecords) -> SecondOpinion | NotEstimable:
        """The library's word; a wait that is too long is an answer, not an error."""
        opinion = await self._workers.run_alone(
            lambda: second_opinion(records, fits_of(records, _OPINION_ON)),
            seconds=LIBRARY_SECONDS,
        )
        return NotEstimable(reason="TOOK_TOO_LONG") if opinion is None else opinion


def _warned(report: FitReport, warning: FitWarningCode) -> FitReport:
    return msgspec.structs.replace(report, warnings=[*report.warnings, warning])


def _lot_fits(lot: LotLives, report: FitReport | NotEstimable, question: FitQuestion) -> LotFits:
    return LotFits(
        lot_id=lot.lot_id,
        lot_number=lot.lot_number,
        lives=[_used_life(life) for life in lot.lives],
        open_hold_count=lot.open_hold_count,
        report=report,
        answer_key=answer_key("fits", [lot], (question, _opinion_missing(report))),
        provenance=lot.provenance,
    )


def _opinion_missing(report: FitReport | NotEstimable) -> bool:
    """Whether the library took too long: that answer must not pass for the whole one."""
    return isinstance(report, FitReport) and isinstance(report.second_opinion, NotEstimable)


def _used_life(life: UnitLife) -> UsedLife:
    """One unit as the fits take it."""
    ends = life_ends(life.outcome)
    shown: dict[str, int] = {}
    if ends is not None:
        low, high = ends
        bracketed = low < high < math.inf
        shown = {"cycles_low": int(low), "cycles_high": int(high)} if bracketed else {}
        shown = shown or {"cycles": int(low)}
    return UsedLife(
        unit_id=life.unit_id,
        unit_serial=life.unit_serial,
        ending=life.outcome.ending,
        used=ends is not None,
        failure_mode=UNSET if (mode := _mode(life)) is None else mode,
        **shown,
    )


def _mode(life: UnitLife) -> str | None:
    """Mode of a unit's failure; None for one that did not fail."""
    if not life.outcome.failed:
        return None
    return _NOT_ANALYSED if life.failure is UNSET else life.failure.failure_mode


def _mode_lives(lives: Sequence[UnitLife]) -> ModeLives | None:
    """Lives with the mode of each failure; None while fewer than two modes are known."""
    used = [(ends, _mode(life)) for life in lives if (ends := life_ends(life.outcome)) is not None]
    if len({mode for _, mode in used} - {None}) < 2:
        return None
    return mode_lives(
        [low for (low, _), _ in used], [high for (_, high), _ in used], [mode for _, mode in used]
    )
