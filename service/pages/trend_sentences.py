"""Sentences about the trend of a unit."""

from __future__ import annotations

from collections.abc import Callable

from msgspec import UNSET, UnsetType

from schemas.onsets import OnsetFinding
from schemas.trends import Spread, UnitTrend
from service.pages import trend_wording, units
from service.pages.units import PressureUnit


def about(trend: UnitTrend) -> list[str]:
    """What a block is, and which are left out."""
    sentences = [trend_wording.ABOUT.format(block_cycles=units.count_text(trend.block_cycles))]
    mask = trend.mask_after_start_cycles
    if any(point.left_out_count for point in trend.points):
        sentences.append(
            trend_wording.LEFT_OUT.format(mask=units.count_text(mask))
            if mask is not UNSET and mask > 0
            else trend_wording.CUT_SHORT
        )
    return sentences


def finding(trend: UnitTrend, unit: PressureUnit) -> list[str]:
    """
    What is known of leak onset, in words.

    Parameters
    ----------
    trend : UnitTrend
        The unit's trend with its finding.
    unit : {"mpa", "bar", "psi"}
        The reader's unit of pressure.
    """
    found = trend.onset
    if found is UNSET:
        return [trend_wording.NO_SPECIFICATION if trend.spec is UNSET else trend_wording.NOT_ASKED]
    words = trend_wording.FINDINGS[found.reason or found.state]
    sentences = [words.format_map(_figures(trend, found, unit))]
    if found.evidence is not None and found.evidence.judged_against == "CARRIED":
        dead_band = units.pressure_both_text(found.evidence.dead_band_mpa, unit)
        sentences.append(trend_wording.CARRIED.format(dead_band=dead_band))
    if _is_widened(found):
        sentences.append(trend_wording.WIDENED)
    return sentences


def _figures(trend: UnitTrend, found: OnsetFinding, unit: PressureUnit) -> dict[str, str]:
    """Figures of a finding as text; what it does not state stays away."""
    figures = {"judged_to": units.count_text(found.judged_to)}
    if trend.dead_band_mpa is not UNSET:
        figures["dead_band"] = units.pressure_both_text(trend.dead_band_mpa, unit)
    if found.baseline is not None:
        figures["baseline"] = units.pressure_both_text(found.baseline.pressure_decay_mpa, unit)
    if found.low_cycles is not None and found.high_cycles is not None:
        figures["low"] = units.count_text(found.low_cycles)
        figures["high"] = units.count_text(found.high_cycles)
    if found.slope_mpa_per_1000 is not None:
        figures["slope"] = units.pressure_both_text(found.slope_mpa_per_1000, unit)
    return figures


def _is_widened(found: OnsetFinding) -> bool:
    high, evidence = found.high_cycles, found.evidence
    return high is not None and evidence is not None and high > evidence.established_last_counted


def spread_text(spread: Spread | UnsetType, unit: PressureUnit) -> str:
    """
    A median, with the lowest and highest where they differ from it.

    Examples
    --------
    >>> one = Spread(lowest=0.06, median=0.06, highest=0.06)
    >>> spread_text(one, "mpa").replace(units.NO_BREAK, " ")
    '0.060 MPa'
    """
    if spread is UNSET:
        return ""
    return _told(spread, lambda value: units.pressure_text(value, unit))


def seconds_text(spread: Spread | UnsetType) -> str:
    """The same for a time in seconds."""
    if spread is UNSET:
        return ""
    return _told(spread, lambda value: f"{value:.3f}{units.NO_BREAK}s")


def _told(spread: Spread, text: Callable[[float], str]) -> str:
    if spread.lowest == spread.highest:
        return text(spread.median)
    return f"{text(spread.median)} ({text(spread.lowest)} to {text(spread.highest)})"
