"""Charts as SVG text: horizontal bars to scale, our own marks, the same numbers in words.

A chart has no fixed width: what lies along the scale is placed in percent, text and
marks in pixels, so that it stays readable on a narrow screen and on paper.
"""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup
from msgspec import UNSET, Struct

from schemas.decisions import Evaluation, UnitLine
from schemas.lives import UnitLife
from service.pages import wording
from service.pages.life_sentences import ending_text, reached_cycles
from service.pages.units import count_text
from service.pages.wording import say

ROW_PX = 41
BAR_TOP_PX = 22
BAR_PX = 10
LABEL_PX = 18
PADDING = 1.03
"""The scale ends a little after the longest bar, so that no mark is cut off."""

MOST_BARS = 200
"""A chart draws at most this many bars; the table beside it has every row."""

MARK_PATHS: dict[str, str] = {
    "FAILED": "M-6,-6 L6,6 M-6,6 L6,-6",
    "FAILED_BETWEEN": "M-4,-4 L4,4 M-4,4 L4,-4 M-7,-8 H-10 V8 H-7 M7,-8 H10 V8 H7",
    "RUN_OUT": "M0,-7 V7 M-4,-7 H4 M-4,7 H4",
    "SUSPENDED": "M-5,-5 H5 V5 H-5 Z",
    "RUNNING": "M-5,-7 L4,0 L-5,7",
    "VOID": "M-6,0 A6,6 0 1 0 6,0 A6,6 0 1 0 -6,0 M-4,4 L4,-4",
}
"""Mark of each ending, drawn around its cycle; strokes only, so that no colour is needed."""

_CROSS_IN_BRACKET = "M-5,-5 L5,5 M-5,5 L5,-5"
"""In a chart the ends of a bracket stand at their own cycles, so its mark is the cross alone."""

_DRAWING = Markup(
    '<svg class="chart" role="img" aria-labelledby="{key}-title {key}-desc" '
    'width="100%" height="{height}">'
    '<title id="{key}-title">{title}</title><desc id="{key}-desc">{description}</desc>'
    "{body}</svg>"
)
_LINE = Markup('<line class="chart-line {style}" x1="{x}" x2="{x}" y1="{top}" y2="{bottom}"/>')
_LINE_LABEL = Markup(
    '<text class="chart-line-label" x="{x}" y="{label_y}" text-anchor="{anchor}">{text}</text>'
)
_ROW_TEXT = Markup(
    '<text class="chart-name" x="0" y="{y}">{name}</text>'
    '<text class="chart-words" x="100%" y="{y}" text-anchor="end">{words}</text>'
)
_RECTANGLE = Markup('<rect class="{style}" x="{x}" y="{y}" width="{width}" height="{height}"/>')
_MARK = Markup(
    '<svg class="chart-mark" x="{x}" y="{y}" overflow="visible"><path d="{path}"/></svg>'
)
_BRACKET = Markup(
    '<line class="chart-bracket" x1="{low}" x2="{high}" y1="{y}" y2="{y}"/>'
    '<svg class="chart-mark" x="{low}" y="{y}" overflow="visible"><path d="M4,-8 H0 V8 H4"/></svg>'
    '<svg class="chart-mark" x="{high}" y="{y}" overflow="visible">'
    '<path d="M-4,-8 H0 V8 H-4"/></svg>'
)


class Bar(Struct, frozen=True, kw_only=True):
    """One row: an outlined bar from `start` to `end`, filled up to `filled_to`, and a mark."""

    name: str
    words: str
    end: int
    filled_to: int
    start: int = 0
    mark: str | None = None
    bracket: tuple[int, int] | None = None


class Line(Struct, frozen=True, kw_only=True):
    """A line across all rows at a count of cycles, with its words."""

    at: int
    name: str
    style: str

    @property
    def text(self) -> str:
        """Name and count, as it stands above the line."""
        return f"{self.name} {count_text(self.at)}"


def lives_chart(evaluation: Evaluation) -> Markup:
    """
    Lives of all units to scale: counted cycles outlined, credited ones filled.

    Every number in it stands in the unit table too.
    """
    shown = evaluation.units[:MOST_BARS]
    return draw(
        [_unit_bar(line) for line in shown],
        chart_lines(evaluation),
        key="lives",
        title=f"Lives of the units of lot {evaluation.lot_number}",
        description=lives_description(evaluation),
    )


def chart_lines(evaluation: Evaluation) -> list[Line]:
    """Target and planned cycles; one line where both are the same count."""
    words: dict[int, list[str]] = {}
    for result in evaluation.requirements:
        for name, cycles in (
            ("target", result.target_cycles),
            ("planned", result.plan.planned_cycles),
        ):
            names = words.setdefault(cycles, [])
            if name not in names:
                names.append(name)
    return [
        Line(
            at=cycles,
            name=" and ".join(names),
            style="chart-target" if "target" in names else "chart-planned",
        )
        for cycles, names in sorted(words.items())
    ]


def lives_description(evaluation: Evaluation) -> str:
    """What the chart shows, for a reader who does not see it."""
    tallies: dict[str, int] = {}
    for line in evaluation.units:
        tallies[line.ending] = tallies.get(line.ending, 0) + 1
    endings = ", ".join(f"{count} {say(wording.ENDINGS, name)}" for name, count in tallies.items())
    lines = ", ".join(line.text for line in chart_lines(evaluation))
    parts = [
        "One horizontal bar for each unit, to scale in counted cycles; the filled part is credited."
    ]
    if endings:
        parts.append(f"Units: {endings}.")
    if lines:
        parts.append(f"Vertical lines: {lines}.")
    parts.append("The table of units holds the same numbers.")
    return " ".join(parts)


def stretches_chart(life: UnitLife) -> Markup:
    """Stretches of one unit in order, each where it lies on the unit's count."""
    bars = [
        Bar(
            name=f"{number}. {stretch.rig_id} station {stretch.station_no}",
            words=f"{count_text(stretch.counted_cycles)} counted",
            start=stretch.counted_before,
            end=stretch.counted_before + stretch.counted_cycles,
            filled_to=stretch.counted_before + stretch.counted_cycles,
        )
        for number, stretch in enumerate(life.stretches[:MOST_BARS], start=1)
    ]
    return draw(
        bars,
        [],
        key="stretches",
        title=f"Stretches of unit {life.unit_serial}",
        description=(
            "One bar for each uninterrupted stretch on a station, placed where it lies on the "
            "unit's count of cycles. The table of stretches holds the same numbers."
        ),
    )


def draw(
    bars: Sequence[Bar], lines: Sequence[Line], *, key: str, title: str, description: str
) -> Markup:
    """
    SVG of bars and lines; names in it are escaped.

    Parameters
    ----------
    bars : sequence of Bar
        From top to bottom.
    lines : sequence of Line
        Drawn across all bars, each labelled on a line of its own.
    key : str, keyword only
        Beginning of the ids in the drawing; unique on its page.
    title, description : str, keyword only
        What a screen reader says in place of the drawing.
    """
    ends = [bar.bracket[1] if bar.bracket else bar.end for bar in bars]
    scale = max([1, *ends, *(line.at for line in lines)]) * PADDING
    top = LABEL_PX * len(lines) + 4
    bottom = top + ROW_PX * len(bars)
    body = Markup("").join(
        [
            *(_label(line, scale, LABEL_PX * index) for index, line in enumerate(lines)),
            *(
                _draw_row(bar, lines, scale=scale, top=top + ROW_PX * index)
                for index, bar in enumerate(bars)
            ),
        ]
    )
    return _DRAWING.format(
        key=key, title=title, description=description, height=bottom + 4, body=body
    )


def mark_key(ending: str) -> Markup:
    """The mark of an ending on its own, for the key under a chart; words stand beside it."""
    return Markup(
        '<svg class="key-mark chart-mark" viewBox="-12 -12 24 24" aria-hidden="true">'
        '<path d="{path}"/></svg>'
    ).format(path=MARK_PATHS[ending])


def _unit_bar(line: UnitLine) -> Bar:
    bracket = None
    if line.cycles_low is not UNSET and line.cycles_high is not UNSET:
        bracket = (line.cycles_low, line.cycles_high)
    note = "; open item" if line.hold_names else ""
    return Bar(
        name=line.unit_serial,
        words=f"{ending_text(line)}{note}",
        end=reached_cycles(line),
        filled_to=line.credited_cycles,
        mark=line.ending,
        bracket=bracket,
    )


def _label(line: Line, scale: float, top: int) -> Markup:
    """Words of a line above the bars, with a short piece of the line under them."""
    share = line.at / scale
    anchor = "start" if share < 0.2 else "end" if share > 0.8 else "middle"
    x = _percent(line.at, scale)
    text = _LINE_LABEL.format(x=x, label_y=top + LABEL_PX - 6, anchor=anchor, text=line.text)
    return text + _piece(line, scale, (top + LABEL_PX - 3, top + LABEL_PX + 2))


def _piece(line: Line, scale: float, between: tuple[int, int]) -> Markup:
    top, bottom = between
    return _LINE.format(style=line.style, x=_percent(line.at, scale), top=top, bottom=bottom)


def _draw_row(bar: Bar, lines: Sequence[Line], *, scale: float, top: int) -> Markup:
    """A bar with the lines across it: only there, so that no line runs through words."""
    y = top + BAR_TOP_PX
    pieces = [_piece(line, scale, (y - 4, y + BAR_PX + 4)) for line in lines]
    return Markup("").join([*pieces, _draw_bar(bar, scale, top)])


def _draw_bar(bar: Bar, scale: float, top: int) -> Markup:
    y = top + BAR_TOP_PX
    middle = y + BAR_PX // 2
    parts = [
        _ROW_TEXT.format(y=top + BAR_TOP_PX - 9, name=bar.name, words=bar.words),
        _rectangle("chart-counted", bar.start, bar.end, scale=scale, place=(y, BAR_PX)),
        _rectangle(
            "chart-credited",
            bar.start,
            max(bar.start, bar.filled_to),
            scale=scale,
            place=(y + 3, BAR_PX - 6),
        ),
    ]
    at, path = bar.end, MARK_PATHS.get(bar.mark or "")
    if bar.bracket is not None:
        low, high = bar.bracket
        parts.append(
            _BRACKET.format(low=_percent(low, scale), high=_percent(high, scale), y=middle)
        )
        at, path = (low + high) // 2, _CROSS_IN_BRACKET
    if path is not None:
        parts.append(_MARK.format(x=_percent(at, scale), y=middle, path=path))
    return Markup("").join(parts)


def _rectangle(style: str, start: int, end: int, *, scale: float, place: tuple[int, int]) -> Markup:
    y, height = place
    return _RECTANGLE.format(
        style=style,
        x=_percent(start, scale),
        width=_percent(end - start, scale),
        y=y,
        height=height,
    )


def _percent(cycles: int, scale: float) -> str:
    """Place on the scale; three decimals are a hundredth of a pixel."""
    return f"{100 * cycles / scale:.3f}%"
