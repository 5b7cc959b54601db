"""A chart is to scale, speaks in words, and says nothing that the table does not."""

import re

import page_examples as examples
import pytest
from html_checks import Element, numbers_in, read_page
from msgspec import UNSET, structs

from service.pages import charts, views

KINDS = sorted(examples.every_kind())


def chart_of(name: str) -> Element:
    return read_page(charts.lives_chart(examples.every_kind()[name]))


@pytest.mark.parametrize("name", KINDS)
def test_every_number_in_the_chart_is_in_the_table_beside_it(name: str) -> None:
    evaluation = examples.every_kind()[name]
    html = views.render_lot(
        evaluation,
        lot=examples.lot(evaluation.lot_number),
        decisions=[],
        spec=examples.spec_version(),
        pressure_unit="mpa",
    )
    page = read_page(html)
    (chart,) = page.find("svg", style="chart")
    (table,) = [t for t in page.find("table") if "Units of the lot" in t.text()]
    shown = set().union(*(numbers_in(text.text()) for text in chart.find("text")))
    assert shown
    assert shown <= numbers_in(table.text())


def test_every_number_in_the_chart_of_stretches_is_in_its_table() -> None:
    html = views.render_unit(examples.unit_life(), lot_id="lot_l02", spec=None, pressure_unit="mpa")
    page = read_page(html)
    (chart,) = page.find("svg", style="chart")
    (table,) = [t for t in page.find("table") if "Stretches of the unit" in t.text()]
    shown = set().union(*(numbers_in(t.text()) for t in chart.find("text", style="chart-words")))
    assert shown == {"61000", "54100", "48800"}
    assert shown <= numbers_in(table.text())


@pytest.mark.parametrize("name", KINDS)
def test_a_chart_has_a_name_and_a_description_for_those_who_do_not_see_it(name: str) -> None:
    (chart,) = chart_of(name).find("svg", style="chart")
    assert chart.attributes["role"] == "img"
    ids = {child.attributes["id"] for tag in ("title", "desc") for child in chart.find(tag)}
    assert set(chart.attributes["aria-labelledby"].split()) == ids
    assert "The table of units holds the same numbers." in chart.find("desc")[0].text()


def test_bars_and_lines_are_to_one_scale() -> None:
    chart = chart_of("shown-below")
    counted = [
        percent(rect.attributes["width"]) for rect in chart.find("rect", style="chart-counted")
    ]
    reached = [38_512, 71_090, 96_044, 121_377, 154_208, 88_940, 148_700]
    reached += [200_000 + number for number in range(8, 13)]
    target = percent(chart.find("line", style="chart-target")[0].attributes["x1"])
    for width, cycles in zip(counted, reached, strict=True):
        assert width / cycles == pytest.approx(target / 100_000, rel=1e-4)


def test_the_filled_part_is_what_is_credited() -> None:
    chart = chart_of("shown-below")
    filled = [
        percent(rect.attributes["width"]) for rect in chart.find("rect", style="chart-credited")
    ]
    # The sixth unit is credited its last clean count, the low end of its bracket.
    assert filled[5] / filled[0] == pytest.approx(59_120 / 38_512, rel=1e-4)


def test_a_bracket_stands_between_its_ends_with_the_mark_in_the_middle() -> None:
    chart = chart_of("shown-below")
    low, high = (
        percent(chart.find("line", style="chart-bracket")[0].attributes[x]) for x in ("x1", "x2")
    )
    assert high / low == pytest.approx(88_940 / 59_120, rel=1e-4)
    words = [text.text() for text in chart.find("text", style="chart-words")]
    assert sum(text.startswith("failed between") for text in words) == 2


def test_nothing_reaches_beyond_the_drawing() -> None:
    for name in KINDS:
        for element in chart_of(name).walk():
            for value in element.attributes.values():
                if re.fullmatch(r"[\d.]+%", value):
                    assert 0 <= percent(value) <= 100


def test_every_ending_has_a_mark_of_its_own() -> None:
    assert len(set(charts.MARK_PATHS.values())) == len(charts.MARK_PATHS) == 6


def test_one_line_stands_for_a_target_that_is_the_planned_count() -> None:
    (line,) = charts.chart_lines(examples.by_attributes())
    assert line.text == "target and planned 100,000"


def test_a_name_cannot_leave_its_place_in_the_drawing() -> None:
    line = examples.unit_line('"><script>x</script>', "RUNNING", 10)
    evaluation = structs.replace(examples.accepted(), units=[line], requirements=[])
    drawing = str(charts.lives_chart(evaluation))
    assert "<script" not in drawing
    assert "&lt;script&gt;" in drawing


def test_a_lot_without_cycles_is_drawn_without_dividing_by_nothing() -> None:
    line = examples.unit_line("S1", "RUNNING", 0, cycles=UNSET)
    evaluation = structs.replace(examples.accepted(), units=[line], requirements=[])
    assert "running at 0" in read_page(charts.lives_chart(evaluation)).text()


def test_a_huge_lot_draws_a_limited_number_of_bars() -> None:
    units = [examples.unit_line(f"S{number}", "RUNNING", 10) for number in range(1_000)]
    evaluation = structs.replace(examples.accepted(), units=units)
    chart = read_page(charts.lives_chart(evaluation))
    assert len(chart.find("rect", style="chart-counted")) == charts.MOST_BARS


def percent(text: str) -> float:
    return float(text.removesuffix("%"))
