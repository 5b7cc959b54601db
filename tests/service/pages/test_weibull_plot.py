"""The drawing of a fit: straight where a Weibull is straight, and never outside its frame."""

from __future__ import annotations

import itertools
import math

import pytest
from html_checks import read_page

from service.pages.weibull_plot import (
    HEIGHT_PX,
    BandPoint,
    PlotPoint,
    plot_counts,
    weibull_plot,
)


def failed(cycles: float, scale: float = 10_000.0, shape: float = 2.0) -> float:
    return 1.0 - math.exp(-((cycles / scale) ** shape))


COUNTS = plot_counts([2_000, 9_000], 5_000, number=9)
BAND = [
    BandPoint(cycles=each, failed=failed(each), lower=failed(0.8 * each), upper=failed(1.2 * each))
    for each in COUNTS
]
POINTS = [PlotPoint(cycles=each, failed=failed(each)) for each in (2_000.0, 9_000.0)]


def drawn(points=POINTS, band=BAND, title: str = "Fit"):  # type: ignore[no-untyped-def]
    return read_page(
        str(weibull_plot(points, band, target_cycles=5_000, title=title, description="What"))
    )


def pairs(text: str) -> list[tuple[float, float]]:
    return [tuple(map(float, pair.split(","))) for pair in text.split()]  # type: ignore[misc]


def test_counts_are_evenly_spaced_on_the_logarithmic_scale_around_lives_and_target() -> None:
    assert COUNTS[0] == pytest.approx(1_000)
    assert COUNTS[-1] == pytest.approx(13_500)
    steps = [after / before for before, after in itertools.pairwise(COUNTS)]
    assert steps == pytest.approx([steps[0]] * len(steps))
    assert plot_counts([], 5_000, number=2) == pytest.approx([2_500, 7_500])
    assert plot_counts([0, 8_000], 5_000, number=2) == pytest.approx([2_500, 12_000])


def test_a_weibull_is_a_straight_line_in_it() -> None:
    [line] = drawn().find("polyline", style="plot-fit")
    places = pairs(line.attributes["points"])
    slopes = [(y2 - y1) / (x2 - x1) for (x1, y1), (x2, y2) in itertools.pairwise(places)]
    # Places are given to a tenth of a pixel.
    assert slopes == pytest.approx([slopes[0]] * len(slopes), abs=0.005)
    assert (places[0][0], places[-1][0]) == (0.0, 1000.0)


def test_points_lie_on_the_line_they_were_taken_from() -> None:
    page = drawn()
    [line] = page.find("polyline", style="plot-fit")
    (x1, y1), (x2, y2) = (pairs(line.attributes["points"])[index] for index in (0, -1))
    marks = page.find("svg", style="chart-mark")
    assert len(marks) == len(POINTS)
    for mark in marks:
        across = 10 * float(mark.attributes["x"].rstrip("%"))
        level = y1 + (y2 - y1) * (across - x1) / (x2 - x1)
        assert float(mark.attributes["y"]) == pytest.approx(level, abs=0.3)


def test_nothing_is_drawn_outside_the_frame() -> None:
    # A limit close to 0 or 1 ends at the edge of the scale.
    band = [
        BandPoint(cycles=each.cycles, failed=each.failed, lower=1e-9, upper=1 - 1e-12)
        for each in BAND
    ]
    page = drawn(band=band)
    shapes = [*page.find("polyline"), *page.find("polygon")]
    levels = [y for shape in shapes for _, y in pairs(shape.attributes["points"])]
    assert min(levels) >= 0.0
    assert max(levels) <= HEIGHT_PX


def test_a_limit_that_does_not_exist_is_left_out() -> None:
    band = [
        BandPoint(cycles=each.cycles, failed=each.failed, lower=None, upper=None) for each in BAND
    ]
    page = drawn(points=[], band=band)
    assert page.find("polygon") == []
    assert page.find("polyline", style="plot-edge") == []
    assert len(page.find("polyline", style="plot-fit")) == 1


def test_a_reader_who_does_not_see_it_is_told_and_names_are_escaped() -> None:
    [drawing] = drawn(title="Lot <b>").find("svg", style="chart")
    assert drawing.attributes["role"] == "img"
    assert drawing.find("title")[0].text() == "Lot <b>"
    assert drawing.find("desc")[0].text() == "What"
    assert "asked at 5,000" in drawing.text()


def test_a_wide_scale_names_powers_of_ten_only() -> None:
    counts = plot_counts([100, 10_000_000], 5_000, number=5)
    band = [
        BandPoint(cycles=each, failed=failed(each, 1e6, 0.5), lower=None, upper=None)
        for each in counts
    ]
    text = drawn(points=[], band=band).text()
    assert "1,000,000" in text
    assert "2,000,000" not in text
