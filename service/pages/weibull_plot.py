"""Failures of a lot and a fitted Weibull as an SVG drawing; the tables beside it say the same."""

from __future__ import annotations

import math
from collections.abc import Sequence

from markupsafe import Markup
from msgspec import Struct

from service.pages.charts import MARK_PATHS
from service.pages.units import count_text

HEIGHT_PX = 380
LABEL_BELOW_PX = 22
MOST_LABELS = 7
_LABEL_TOP_PX = 12

SCALE_MARKS: tuple[tuple[float, str], ...] = (
    (0.001, "1 in 1000"),
    (0.01, "1 in 100"),
    (0.05, "1 in 20"),
    (0.1, "1 in 10"),
    (0.25, "1 in 4"),
    (0.5, "1 in 2"),
    (0.75, "3 in 4"),
    (0.9, "9 in 10"),
    (0.99, "99 in 100"),
)
"""Fractions failed that the upright scale names."""

_DRAWING = Markup(
    '<svg class="chart" role="img" aria-labelledby="weibull-title weibull-desc" '
    'width="100%" height="{height}">'
    '<title id="weibull-title">{title}</title><desc id="weibull-desc">{description}</desc>'
    "{body}</svg>"
)
_LEVEL = Markup('<line class="plot-grid" x1="0" x2="100%" y1="{y}" y2="{y}"/>')
_LEVEL_NAME = Markup('<text class="plot-label plot-name" x="2" y="{y}">{text}</text>')
_COUNT = Markup(
    '<line class="plot-grid" x1="{x}" x2="{x}" y1="0" y2="{bottom}"/>'
    '<text class="plot-label" x="{x}" y="{label_y}" text-anchor="{anchor}">{text}</text>'
)
_TARGET = Markup(
    '<line class="chart-line chart-target" x1="{x}" x2="{x}" y1="0" y2="{bottom}"/>'
    '<text class="chart-line-label" x="{x}" y="14" text-anchor="{anchor}" dx="{shift}">'
    "{text}</text>"
)
_CURVES = Markup(
    '<svg x="0" y="0" width="100%" height="{bottom}" viewBox="0 0 1000 {bottom}" '
    'preserveAspectRatio="none">{body}</svg>'
)
_MARK = Markup(
    '<svg class="chart-mark" x="{x}" y="{y}" overflow="visible"><path d="{path}"/></svg>'
)


class PlotPoint(Struct, frozen=True, kw_only=True):
    """A failure: its count and the fraction failed by then."""

    cycles: float
    failed: float


class BandPoint(Struct, frozen=True, kw_only=True):
    """The fitted fraction failed at a count, with limits; None where there is no limit."""

    cycles: float
    failed: float
    lower: float | None
    upper: float | None


class _Axes(Struct, frozen=True):
    """From cycles and fractions to places in the drawing."""

    first: float
    last: float
    lowest: float
    highest: float

    def across(self, cycles: float) -> float:
        """Share of the width, 0 to 1."""
        return math.log(cycles / self.first) / math.log(self.last / self.first)

    def down(self, failed: float) -> float:
        """Pixels from the top; fractions beyond the scale lie at its end."""
        level = _level(min(max(failed, self.lowest), self.highest))
        low, high = _level(self.lowest), _level(self.highest)
        return HEIGHT_PX * (1.0 - (level - low) / (high - low))


def plot_counts(lives: Sequence[float], target: float, *, number: int) -> list[float]:
    """
    Counts at which a fit is to be drawn: evenly spaced on the logarithmic scale.

    Parameters
    ----------
    lives : sequence of float
        Counts that the units reached; those of 0 are left out.
    target : float
        Count that is marked in the drawing. Cycles.
    number : int, keyword only
        How many counts, 2 or more.

    Examples
    --------
    >>> [round(each) for each in plot_counts([40_000, 200_000], 100_000, number=3)]
    [20000, 77460, 300000]
    """
    reached = [each for each in lives if each > 0] or [target]
    first = 0.5 * min(*reached, target)
    last = 1.5 * max(*reached, target)
    step = math.log(last / first) / (number - 1)
    return [first * math.exp(step * index) for index in range(number)]


def weibull_plot(
    points: Sequence[PlotPoint],
    band: Sequence[BandPoint],
    *,
    target_cycles: float,
    title: str,
    description: str,
) -> Markup:
    """
    Failures, the fitted line and its band on scales on which a Weibull is straight.

    Parameters
    ----------
    points : sequence of PlotPoint
        Failures at their plotting positions; empty where there are none.
    band : sequence of BandPoint
        The fit at rising counts, two or more, as `plot_counts` gives them.
    target_cycles : float, keyword only
        Count that a line marks.
    title, description : str, keyword only
        What a screen reader says in place of the drawing.
    """
    axes = _axes(points, band)
    parts = [
        *_levels(axes),
        *_counts(axes),
        _curves(axes, band),
        *_level_names(axes),
        _target(axes, target_cycles),
        *(
            _MARK.format(
                x=_percent(axes.across(point.cycles)),
                y=f"{axes.down(point.failed):.1f}",
                path=MARK_PATHS["FAILED"],
            )
            for point in points
        ),
    ]
    return _DRAWING.format(
        height=HEIGHT_PX + LABEL_BELOW_PX,
        title=title,
        description=description,
        body=Markup("").join(parts),
    )


def _level(failed: float) -> float:
    """The scale on which a Weibull is straight against log cycles: ln(-ln(1 - F))."""
    return math.log(-math.log1p(-failed))


def _axes(points: Sequence[PlotPoint], band: Sequence[BandPoint]) -> _Axes:
    """Scales that hold every point and the fitted line, ended at marks of the scale."""
    seen = [point.failed for point in points] + [point.failed for point in band]
    named = [mark for mark, _ in SCALE_MARKS]
    lowest = max((mark for mark in named if mark <= min(seen)), default=named[0])
    highest = min((mark for mark in named if mark >= max(seen)), default=named[-1])
    if lowest >= highest:
        lowest, highest = named[0], named[-1]
    return _Axes(band[0].cycles, band[-1].cycles, lowest, highest)


def _levels(axes: _Axes) -> list[Markup]:
    """Lines of the upright scale."""
    return [_LEVEL.format(y=f"{axes.down(mark):.1f}") for mark, _ in _marks(axes)]


def _level_names(axes: _Axes) -> list[Markup]:
    """Names of the lines at their left end, drawn over the band so that they can be read."""
    return [
        _LEVEL_NAME.format(y=f"{max(axes.down(mark) - 4, _LABEL_TOP_PX):.1f}", text=text)
        for mark, text in _marks(axes)
    ]


def _marks(axes: _Axes) -> list[tuple[float, str]]:
    return [each for each in SCALE_MARKS if axes.lowest <= each[0] <= axes.highest]


def _counts(axes: _Axes) -> list[Markup]:
    """Lines of the scale of cycles, named below the drawing."""
    powers = range(math.floor(math.log10(axes.first)), math.ceil(math.log10(axes.last)) + 1)
    marks = [digit * 10.0**power for power in powers for digit in (1, 2, 5)]
    marks = [mark for mark in marks if axes.first <= mark <= axes.last]
    if len(marks) > MOST_LABELS:
        marks = [10.0**power for power in powers if axes.first <= 10.0**power <= axes.last]
    return [
        _COUNT.format(
            x=_percent(axes.across(mark)),
            bottom=HEIGHT_PX,
            label_y=HEIGHT_PX + 16,
            anchor=_anchor(axes.across(mark)),
            text=count_text(round(mark)),
        )
        for mark in marks
    ]


def _curves(axes: _Axes, band: Sequence[BandPoint]) -> Markup:
    """Band, its edges and the fitted line, stretched to the width of the drawing."""
    lower = [(each.cycles, each.lower) for each in band if each.lower is not None]
    upper = [(each.cycles, each.upper) for each in band if each.upper is not None]
    shapes = []
    if lower and upper:
        outline = _places(axes, [*lower, *reversed(upper)])
        shapes.append(Markup('<polygon class="plot-band" points="{}"/>').format(outline))
    edge = Markup('<polyline class="plot-edge" points="{}"/>')
    shapes += [edge.format(_places(axes, side)) for side in (lower, upper) if len(side) > 1]
    fit = [(each.cycles, each.failed) for each in band]
    shapes.append(Markup('<polyline class="plot-fit" points="{}"/>').format(_places(axes, fit)))
    return _CURVES.format(bottom=HEIGHT_PX, body=Markup("").join(shapes))


def _places(axes: _Axes, side: Sequence[tuple[float, float]]) -> str:
    return " ".join(
        f"{1000 * axes.across(cycles):.1f},{axes.down(failed):.1f}" for cycles, failed in side
    )


def _target(axes: _Axes, target: float) -> Markup:
    share = axes.across(target)
    anchor = "end" if share > 0.6 else "start"
    return _TARGET.format(
        x=_percent(share),
        bottom=HEIGHT_PX,
        anchor=anchor,
        shift=-6 if anchor == "end" else 6,
        text=f"asked at {count_text(round(target))}",
    )


def _anchor(share: float) -> str:
    return "start" if share < 0.05 else "end" if share > 0.95 else "middle"


def _percent(share: float) -> str:
    return f"{100 * share:.3f}%"
