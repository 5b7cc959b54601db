"""The drawing of a unit's trend: everything to scale, each kind of point its own shape."""

from __future__ import annotations

import re

import pytest
from msgspec import UNSET, structs
from trend_examples import LEAKING, point, trend

from service.pages.trend_chart import (
    HEIGHT_PX,
    MARK_PATHS,
    limit_is_above,
    tells_decay,
    trend_chart,
)


def marks(drawing: str, name: str) -> list[tuple[float, float]]:
    """Places of the marks of a kind: percent across, pixels down."""
    pattern = rf'x="([0-9.]+)%" y="([0-9.-]+)" overflow="visible"><path d="{MARK_PATHS[name]}"'
    return [(float(x), float(y)) for x, y in re.findall(pattern, drawing)]


def test_blocks_that_are_read_and_those_left_out_have_their_own_shape() -> None:
    drawing = str(trend_chart(trend(), "mpa"))
    assert len(marks(drawing, "read")) == 57
    assert len(marks(drawing, "left_out")) == 6  # lowest and highest of three blocks
    assert drawing.count("trend-range") > 0


def test_points_lie_where_their_cycles_and_decay_say() -> None:
    drawing = str(trend_chart(trend(), "mpa"))
    places = marks(drawing, "read")
    # Block 30 of 60: middle of the cycles 3,001 to 3,100 of 6,000.
    assert places[27][0] == pytest.approx(100 * 3_050.5 / 6_000, abs=0.001)
    rising = [y for _, y in places]
    assert rising[-1] < rising[0]
    assert all(0 <= y <= HEIGHT_PX for y in rising)


def test_the_bracket_lies_between_its_counts() -> None:
    drawing = str(trend_chart(trend(), "mpa"))
    [(low, width)] = re.findall(r'class="plot-band" x="([0-9.]+)%" width="([0-9.]+)%"', drawing)
    assert float(low) == pytest.approx(100 * 4_210 / 6_000, abs=0.001)
    assert float(width) == pytest.approx(100 * 490 / 6_000, abs=0.001)
    assert "leak onset" in drawing


def test_without_an_onset_there_is_no_bracket() -> None:
    assert "plot-band" not in str(trend_chart(trend(onset=UNSET), "mpa"))


def test_a_limit_far_above_is_said_and_not_drawn() -> None:
    assert limit_is_above(trend())
    assert "chart-target" not in str(trend_chart(trend(), "mpa"))
    near = trend(decay_limit_mpa=0.3)
    assert not limit_is_above(near)
    assert "limit 0.30" in str(trend_chart(near, "mpa"))
    assert not limit_is_above(trend(decay_limit_mpa=UNSET))


@pytest.mark.parametrize("unit", ["mpa", "bar", "psi"])
def test_levels_are_named_in_the_readers_unit(unit: str) -> None:
    drawing = str(trend_chart(trend(), unit))  # type: ignore[arg-type]
    assert {"mpa": "MPa", "bar": "bar", "psi": "psi"}[unit] in drawing


def test_flat_and_single_points_can_be_drawn() -> None:
    one = structs.replace(point(5), first_counted=1, last_counted=100, pressure_decay_mpa=UNSET)
    silent = trend(points=[one], onset=UNSET)
    assert not tells_decay(silent)
    assert not limit_is_above(silent)
    flat = trend(points=[point(5)], onset=UNSET, decay_limit_mpa=UNSET)
    assert tells_decay(flat)
    assert len(marks(str(trend_chart(flat, "mpa")), "read")) == 1


def test_a_bracket_that_missing_rows_widen_ends_at_the_edge_of_the_drawing() -> None:
    wide = structs.replace(LEAKING, high_cycles=9_000)
    drawing = str(trend_chart(trend(onset=wide), "mpa"))
    [(low, width)] = re.findall(r'class="plot-band" x="([0-9.]+)%" width="([0-9.]+)%"', drawing)
    assert float(low) + float(width) == pytest.approx(100, abs=0.002)
