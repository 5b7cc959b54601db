"""Figures of fits in the catalogue's words, and what the drawing of a fit is made of."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from markupsafe import Markup
from msgspec import UNSET

from schemas.estimates import NotEstimable
from schemas.fit_answers import DistributionFit, FitReport, LotFits
from schemas.fit_limits import FitLimits, ReliabilityLimits
from schemas.fits import LifeFit
from schemas.lot_comparisons import LotHomogeneity
from schemas.populations import LogRankTest, MixtureFlag, PopulationTests
from schemas.ranks import PlottingPositions
from schemas.second_opinion import DistributionOpinion
from service.pages import fit_wording, units
from service.pages.weibull_plot import BandPoint, PlotPoint, weibull_plot
from service.pages.wording import say

Side = Literal["LOWER", "UPPER", "ESTIMATE"]
"""Limits are rounded to their careful side, estimates to the nearest number."""

_DIGITS = 3
_SIGNIFICANT = 0.05
"""p-value below which a page speaks of a difference; the number stands beside it."""
_MOST_CYCLES_SHOWN = 1e12


def cycles_text(value: float | NotEstimable, side: Side) -> str:
    """
    Cycles on a page: whole ones, a limit rounded to its careful side.

    Examples
    --------
    >>> cycles_text(28_065.9, "LOWER"), cycles_text(28_065.2, "UPPER")
    ('28,065', '28,066')
    >>> cycles_text(NotEstimable(reason="NO_FINITE_LIMIT"), "UPPER")
    'no finite limit'
    """
    if isinstance(value, NotEstimable):
        return say(fit_wording.NOT_ESTIMABLE, value.reason)
    if value > _MOST_CYCLES_SHOWN:
        return f"{value:.2e}"
    return units.count_text(_rounded(value, side))


def share_text(value: float | NotEstimable, side: Side) -> str:
    """
    A reliability on a page: three digits, a limit rounded to its careful side.

    Examples
    --------
    >>> share_text(0.9608, "ESTIMATE"), share_text(0.9608, "LOWER"), share_text(0.9601, "UPPER")
    ('0.961', '0.960', '0.961')
    """
    if isinstance(value, NotEstimable):
        return say(fit_wording.NOT_ESTIMABLE, value.reason)
    return _digits(value, side)


def shape_text(value: float | NotEstimable, side: Side) -> str:
    """A Weibull shape on a page, three digits after the point."""
    return share_text(value, side)


def _digits(value: float, side: Side) -> str:
    return f"{_rounded(value * 10**_DIGITS, side) / 10**_DIGITS:.{_DIGITS}f}"


def _rounded(value: float, side: Side) -> int:
    """A whole number on the careful side of a limit; the nearest one for an estimate."""
    if side == "LOWER":
        return math.floor(value)
    return math.ceil(value) if side == "UPPER" else round(value)


def p_value_text(value: float) -> str:
    """
    A p-value on a page.

    Examples
    --------
    >>> p_value_text(0.0512), p_value_text(0.000002)
    ('= 0.051', 'below 0.001')
    """
    return "below 0.001" if value < 0.001 else f"= {value:.3f}"


def warning_texts(report: FitReport) -> list[str]:
    """What a reader must know before any figure."""
    return [say(fit_wording.FIT_WARNINGS, code) for code in report.warnings]


def advice_text(report: FitReport) -> str | None:
    """Which limits to take at this number of failures; None while nothing failed."""
    advice = report.advice
    if advice is UNSET:
        return None
    return fit_wording.ADVICE.format(
        method=say(fit_wording.METHODS, advice.recommended),
        failures=units.counted(advice.failure_count, "failure", "failures"),
        nominal=units.percent_text(advice.nominal_confidence),
        ratio=f"{100 * advice.expected_coverage_likelihood_ratio:.0f} %",
        fisher=f"{100 * advice.expected_coverage_fisher_log:.0f} %",
    )


def mixture_text(report: FitReport) -> str | None:
    """Whether a weak part shows among the units; None where it was not looked at."""
    flag = report.mixture
    if not isinstance(flag, MixtureFlag):
        return None
    if not flag.flagged:
        return fit_wording.MIXTURE_NOT_FLAGGED
    return fit_wording.MIXTURE_FLAGGED.format(
        share=f"{100 * flag.weak_share:.0f} %",
        weak=cycles_text(flag.weak_scale_cycles, "ESTIMATE"),
        main=cycles_text(flag.main_scale_cycles, "ESTIMATE"),
        false_alarm=units.percent_text(flag.false_alarm_chance),
    )


def comparison_text(comparison: LotHomogeneity) -> str:
    """Whether groups of the lot differ: by their Weibulls, else by the order of failures."""
    what = say(fit_wording.COMPARED_BY, comparison.compared_by)
    tests, log_rank = comparison.tests, comparison.log_rank
    if isinstance(tests, PopulationTests):
        found = [("shape", tests.shape_test), ("scale", tests.scale_test)]
        tested = [(name, test) for name, test in found if not isinstance(test, NotEstimable)]
        name, least = min(tested, key=lambda pair: pair[1].p_value)
        return _compared(what, name, least.p_value, tests.notes)
    # Groups of one unit each have an order of failures by themselves: a test says nothing.
    if isinstance(log_rank, LogRankTest) and all(each.unit_count > 1 for each in log_rank.groups):
        return _compared(what, "order of failures", log_rank.p_value, log_rank.notes)
    reason = say(fit_wording.NOT_ESTIMABLE, tests.reason)
    return fit_wording.NOT_COMPARED.format(what=what, reason=reason)


def _compared(what: str, which: str, p_value: float, notes: Sequence[str]) -> str:
    """What a test says, with what is to be thought of it."""
    differs = p_value < _SIGNIFICANT
    sentence = fit_wording.DIFFERENCE_SEEN if differs else fit_wording.NO_DIFFERENCE_SEEN
    words = fit_wording.NOTES_ON_DIFFERENCE if differs else fit_wording.NOTES_ON_NO_DIFFERENCE
    said = [sentence.format(what=what, which=which, p_value=p_value_text(p_value))]
    return " ".join([*said, *(words[note] for note in notes if note in words)])


def fit_of(report: FitReport, distribution: str) -> DistributionFit | None:
    """The fit of one distribution, if it was asked for."""
    found = [each for each in report.distributions if each.distribution == distribution]
    return found[0] if found else None


def reliability_rows(
    fit: DistributionFit,
) -> list[tuple[ReliabilityLimits, ReliabilityLimits | None]]:
    """Reliability at each count by likelihood ratio, and by normal approximation beside it."""
    ratio, fisher = fit.likelihood_limits, fit.fisher_limits
    if not isinstance(ratio, FitLimits):
        return []
    beside = fisher.reliability if isinstance(fisher, FitLimits) else ()
    by_count = {each.at_cycles: each for each in beside}
    return [(each, by_count.get(each.at_cycles)) for each in ratio.reliability]


def asked_row(fit: DistributionFit, at_cycles: float) -> ReliabilityLimits | None:
    """The row of the count that was asked for."""
    return next((row for row, _ in reliability_rows(fit) if row.at_cycles == at_cycles), None)


def point_rows(report: FitReport) -> list[tuple[float, float]]:
    """Failures with the fraction failed at which they are plotted."""
    points = report.plotting_positions
    if not isinstance(points, PlottingPositions):
        return []
    return list(zip(points.life_cycles, points.positions, strict=True))


def opinion_text(opinion: DistributionOpinion) -> str:
    """What the library's word on one distribution is worth."""
    said = say(fit_wording.OPINIONS, opinion.code)
    if opinion.reason is UNSET:
        return said
    reason = fit_wording.NOT_FITTED.get(opinion.reason)
    return f"{said}: {reason or say(fit_wording.NOT_ESTIMABLE, opinion.reason)}"


def parameters_text(opinion: DistributionOpinion) -> str:
    """Parameters of the library's fit in words and numbers."""
    parts = [
        f"{name.replace('_cycles', '').replace('_', ' ')} {value:,.4g}"
        for name, value in opinion.parameters.items()
    ]
    return ", ".join(parts) or "–"


def drawing(fits: LotFits, target_cycles: float) -> Markup | None:
    """The Weibull drawing; None where there is no Weibull fit to be drawn."""
    report = fits.report
    weibull = fit_of(report, "WEIBULL") if isinstance(report, FitReport) else None
    if not isinstance(report, FitReport) or weibull is None:
        return None
    band = _band(reliability_rows(weibull))
    if not isinstance(weibull.fit, LifeFit) or len(band) < 2:
        return None
    return weibull_plot(
        [PlotPoint(cycles=cycles, failed=failed) for cycles, failed in point_rows(report)],
        band,
        target_cycles=target_cycles,
        title=f"Weibull fit of lot {fits.lot_number}",
        description=fit_wording.PLOT_DESCRIPTION.format(
            confidence=units.percent_text(report.confidence)
        ),
    )


def _band(rows: Sequence[tuple[ReliabilityLimits, object]]) -> list[BandPoint]:
    """Fractions failed of the fit and its limits; a fraction of 0 or 1 has no place."""
    return [
        BandPoint(
            cycles=each.at_cycles,
            failed=1.0 - each.estimate,
            lower=_failed(each.upper),
            upper=_failed(each.lower),
        )
        for each, _ in rows
        if 0.0 < each.estimate < 1.0
    ]


def _failed(reliability: float | NotEstimable) -> float | None:
    if isinstance(reliability, NotEstimable) or not 0.0 < reliability < 1.0:
        return None
    return 1.0 - reliability
