"""The trend of a unit's pressure decay as an SVG drawing; the table beside it says the same."""

from __future__ import annotations

import math
from collections.abc import Iterator

from markupsafe import Markup
from msgspec import UNSET, Struct

from schemas.trends import Spread, TrendPoint, UnitTrend
from service.pages.units import PressureUnit, count_text, pressure_text

HEIGHT_PX = 280
LABEL_BELOW_PX = 22
_LABEL_TOP_PX = 12
_WIDTH_MARKS = 5
_LEVELS = 5
_LIMIT_WITHIN = 2.0
"""The limit is drawn when it lies within so many heights of what was measured."""

MARK_PATHS: dict[str, str] = {
    "read": "M-2.5,0 A2.5,2.5 0 1 0 2.5,0 A2.5,2.5 0 1 0 -2.5,0",
    "left_out": "M0,-4.5 L4.5,0 L0,4.5 L-4.5,0 Z",
    "bracket": "M-2,-8 H-6 V8 H-2 M2,-8 H6 V8 H2",
}
"""Rings and diamonds: shapes, so that no colour is needed."""

_DRAWING = Markup(
    '<svg class="chart" role="img" aria-labelledby="trend-title trend-desc" '
    'width="100%" height="{height}">'
    '<title id="trend-title">{title}</title><desc id="trend-desc">{description}</desc>'
    "{body}</svg>"
)
_LEVEL = Markup(
    '<line class="plot-grid" x1="0" x2="100%" y1="{y}" y2="{y}"/>'
    '<text class="plot-label plot-name" x="2" y="{label_y}">{text}</text>'
)
_COUNT = Markup(
    '<line class="plot-grid" x1="{x}" x2="{x}" y1="0" y2="{bottom}"/>'
    '<text class="plot-label" x="{x}" y="{label_y}" text-anchor="{anchor}">{text}</text>'
)
_ACROSS = Markup(
    '<line class="chart-line {style}" x1="0" x2="100%" y1="{y}" y2="{y}"/>'
    '<text class="chart-line-label plot-name" x="12%" y="{label_y}">{text}</text>'
)
_BRACKET = Markup(
    '<rect class="plot-band" x="{low}" width="{width}" y="0" height="{bottom}"/>'
    '<line class="chart-bracket" x1="{low}" x2="{low}" y1="0" y2="{bottom}"/>'
    '<line class="chart-bracket" x1="{high}" x2="{high}" y1="0" y2="{bottom}"/>'
    '<text class="chart-line-label plot-name" x="{at}" y="14" text-anchor="{anchor}" '
    'dx="{shift}">leak onset</text>'
)
_RANGE = Markup('<line class="trend-range" x1="{x}" x2="{x}" y1="{top}" y2="{bottom}"/>')
_MARK = Markup(
    '<svg class="chart-mark trend-mark" x="{x}" y="{y}" overflow="visible"><path d="{path}"/></svg>'
)


class _Axes(Struct, frozen=True):
    """From cycles and MPa to places in the drawing."""

    last: int
    lowest: float
    highest: float

    def across(self, cycles: float) -> str:
        """Percent of the width."""
        return f"{100 * cycles / self.last:.3f}%"

    def down(self, decay_mpa: float) -> float:
        """Pixels from the top."""
        share = (decay_mpa - self.lowest) / (self.highest - self.lowest)
        return round(HEIGHT_PX * (1.0 - share), 1)


def trend_chart(trend: UnitTrend, unit: PressureUnit) -> Markup:
    """
    Decay of a unit along its counted cycles, with baseline, limit and bracket of onset.

    Parameters
    ----------
    trend : UnitTrend
        With one point at least that tells the decay.
    unit : {"mpa", "bar", "psi"}
        The reader's unit of pressure.
    """
    axes = _axes(trend)
    parts = [
        *_levels(axes, unit),
        *_counts(axes),
        *_bracket(trend, axes),
        *_lines(trend, axes, unit),
        *(mark for point in trend.points for mark in _point(point, axes)),
    ]
    return _DRAWING.format(
        height=HEIGHT_PX + LABEL_BELOW_PX,
        title=f"Pressure decay of unit {trend.unit_serial}",
        description=(
            "Pressure decay against counted cycles, block by block. The table of the trend "
            "holds the same numbers, and the sentences above it the finding."
        ),
        body=Markup("").join(parts),
    )


def tells_decay(trend: UnitTrend) -> bool:
    """Whether any point has a decay to draw."""
    return any(True for point in trend.points for _ in _spreads(point))


def limit_is_above(trend: UnitTrend) -> bool:
    """Whether the limit is stated and lies above what is drawn."""
    limit = trend.decay_limit_mpa
    return limit is not UNSET and tells_decay(trend) and limit > _axes(trend).highest


def mark_key(name: str) -> Markup:
    """A mark on its own, for the key under the drawing; words stand beside it."""
    return Markup(
        '<svg class="key-mark chart-mark trend-mark" viewBox="-12 -12 24 24" aria-hidden="true">'
        '<path d="{path}"/></svg>'
    ).format(path=MARK_PATHS[name])


def _spreads(point: TrendPoint) -> Iterator[tuple[str, Spread]]:
    """What a point has to draw: blocks that are read, and those that are left out."""
    if point.pressure_decay_mpa is not UNSET:
        yield "read", point.pressure_decay_mpa
    if point.left_out_decay_mpa is not UNSET:
        yield "left_out", point.left_out_decay_mpa


def _axes(trend: UnitTrend) -> _Axes:
    """Scales that hold what was measured, the baseline with its dead band, and a near limit."""
    told = [spread for point in trend.points for _, spread in _spreads(point)]
    values = [each for spread in told for each in (spread.lowest, spread.highest)]
    values += [level for level, _, _ in _levels_of_finding(trend)]
    low, high = min([0.0, *values]), max(values)
    limit = trend.decay_limit_mpa
    if limit is not UNSET and high < limit <= low + _LIMIT_WITHIN * (high - low):
        high = limit
    margin = 0.06 * (high - low) or 0.01
    return _Axes(trend.points[-1].last_counted, low, high + margin)


def _levels_of_finding(trend: UnitTrend) -> Iterator[tuple[float, str, str]]:
    """Baseline and dead band: level, style and name."""
    if trend.onset is UNSET or trend.onset.baseline is None:
        return
    baseline = trend.onset.baseline.pressure_decay_mpa
    yield baseline, "chart-planned", "baseline"
    if trend.dead_band_mpa is not UNSET:
        yield baseline + trend.dead_band_mpa, "chart-planned", "baseline and dead band"


def _levels(axes: _Axes, unit: PressureUnit) -> list[Markup]:
    step = _round_step((axes.highest - axes.lowest) / _LEVELS)
    first = math.ceil(axes.lowest / step)
    marks = [step * number for number in range(first, math.floor(axes.highest / step) + 1)]
    return [
        _LEVEL.format(
            y=axes.down(mark),
            label_y=max(axes.down(mark) - 4, _LABEL_TOP_PX),
            text=pressure_text(mark, unit),
        )
        for mark in marks
    ]


def _round_step(step: float) -> float:
    """The next larger of 1, 2 and 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(step))
    return next(digit * power for digit in (1, 2, 5, 10) if digit * power >= step)


def _counts(axes: _Axes) -> list[Markup]:
    step = max(round(_round_step(axes.last / _WIDTH_MARKS)), 1)
    return [
        _COUNT.format(
            x=axes.across(count),
            bottom=HEIGHT_PX,
            label_y=HEIGHT_PX + 16,
            anchor=_anchor(count / axes.last),
            text=count_text(count),
        )
        for count in range(0, axes.last + 1, step)
    ]


def _bracket(trend: UnitTrend, axes: _Axes) -> list[Markup]:
    found = trend.onset
    if found is UNSET or found.low_cycles is None or found.high_cycles is None:
        return []
    low, high = found.low_cycles, min(found.high_cycles, axes.last)
    is_right = low > 0.6 * axes.last
    return [
        _BRACKET.format(
            low=axes.across(low),
            high=axes.across(high),
            width=axes.across(high - low),
            bottom=HEIGHT_PX,
            at=axes.across(low if is_right else high),
            anchor="end" if is_right else "start",
            shift=-6 if is_right else 6,
        )
    ]


def _lines(trend: UnitTrend, axes: _Axes, unit: PressureUnit) -> list[Markup]:
    """Baseline, dead band and limit, where they lie in the drawing."""
    lines = [*_levels_of_finding(trend)]
    limit = trend.decay_limit_mpa
    if limit is not UNSET and limit <= axes.highest:
        lines.append((limit, "chart-target", "limit"))
    return [
        _ACROSS.format(
            style=style,
            y=axes.down(level),
            # The dead band stands just above the baseline: its words go up, the other's down.
            label_y=axes.down(level) + (14 if name == "baseline" else -5),
            text=f"{name} {pressure_text(level, unit)}",
        )
        for level, style, name in lines
    ]


def _point(point: TrendPoint, axes: _Axes) -> Iterator[Markup]:
    middle = (point.first_counted + point.last_counted) / 2
    for name, spread in _spreads(point):
        x = axes.across(middle)
        top, bottom = axes.down(spread.highest), axes.down(spread.lowest)
        if bottom - top >= 1 and name == "read":
            yield _RANGE.format(x=x, top=top, bottom=bottom)
        path = MARK_PATHS[name]
        if name == "read":
            yield _MARK.format(x=x, y=axes.down(spread.median), path=path)
            continue
        for value in dict.fromkeys((spread.lowest, spread.highest)):
            yield _MARK.format(x=x, y=axes.down(value), path=path)


def _anchor(share: float) -> str:
    return "start" if share < 0.05 else "end" if share > 0.95 else "middle"
