"""Figures about the edges of the pressure band and about stations, as a reader sees them."""

from __future__ import annotations

from decimal import ROUND_CEILING, Decimal

from msgspec import UNSET

from schemas.edge_rules import EdgeShare, UnderEdgeRules
from schemas.station_drifts import StationDrift
from service.pages import units
from service.pages.units import NO_BREAK, PressureUnit

_SHARE_DIGITS = 2
_HUNDRED = Decimal(100)


def share_text(share: float) -> str:
    """
    A share as percent, rounded up: what is there is never shown as nothing.

    Examples
    --------
    >>> share_text(0.02).replace(NO_BREAK, " "), share_text(0.0).replace(NO_BREAK, " ")
    ('2.00 %', '0.00 %')
    >>> share_text(1 / 2_400_000).replace(NO_BREAK, " ")
    '0.01 %'
    """
    percent = Decimal(repr(share)) * _HUNDRED
    rounded = percent.quantize(Decimal(1).scaleb(-_SHARE_DIGITS), rounding=ROUND_CEILING)
    return f"{rounded:f}{NO_BREAK}%"


def at_edge_text(share: EdgeShare, unit: PressureUnit) -> str:
    """How many of a unit's cycles are near an edge of the band, and what near means."""
    counted = units.counted(share.cycles_at_edge, "cycle", "cycles")
    text = (
        f"{counted} of {units.count_text(share.counted_cycles)} ({share_text(share.share_at_edge)})"
        f" within {units.pressure_text(share.uncertainty_mpa, unit)} of an edge"
    )
    return text if share.uncertainty_known else f"{text}; not known for every stretch"


def lot_at_edge_text(edges: UnderEdgeRules, unit: PressureUnit) -> str | None:
    """The same for a lot; None where no uncertainty is on record."""
    if edges.cycles_at_edge is UNSET or edges.counted_cycles is UNSET:
        return None
    if edges.share_at_edge is UNSET or edges.uncertainty_mpa is UNSET:
        return None
    share = EdgeShare(
        uncertainty_known=edges.uncertainty_known,
        counted_cycles=edges.counted_cycles,
        cycles_at_edge=edges.cycles_at_edge,
        share_at_edge=edges.share_at_edge,
        uncertainty_mpa=edges.uncertainty_mpa,
    )
    return at_edge_text(share, unit)


def drift_text(drift: StationDrift, unit: PressureUnit) -> str:
    """
    How far a station moved, with its direction.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> at = datetime(2026, 3, 2, 6, tzinfo=UTC)
    >>> moved = StationDrift(rig_id="RIG-B", station_no=4, quantity="pressure_peak_mpa",
    ...     drift_mpa=-0.4, limit_mpa=0.25, began_at=at, from_at=at, to_at=at,
    ...     neighbours=[1, 2], counted_cycles=1440)
    >>> drift_text(moved, "mpa").replace(NO_BREAK, " ")
    '0.40 MPa lower'
    """
    direction = "higher" if drift.drift_mpa > 0 else "lower"
    return f"{units.pressure_text(abs(drift.drift_mpa), unit)} {direction}"


def beside_text(drift: StationDrift, unit: PressureUnit) -> str:
    """What else changed over the same hours, where it is recorded."""
    parts = []
    if drift.decay_change_mpa is not UNSET:
        sign = "-" if drift.decay_change_mpa < 0 else "+"
        size = units.pressure_text(abs(drift.decay_change_mpa), unit)
        parts.append(f"pressure decay {sign}{size}")
    if drift.rise_time_change_s is not UNSET:
        parts.append(f"rise time {drift.rise_time_change_s:+.3f}{NO_BREAK}s")
    return ", ".join(parts) or "not recorded"
