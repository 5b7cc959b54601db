"""What pages say about the edges of the band and about stations that drifted."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import get_args

import page_examples as examples
import pytest
from html_checks import read_page
from msgspec import structs

from schemas.decisions import Evaluation
from schemas.edge_rules import EdgeRule, EdgeShare, UnderEdgeRules
from schemas.station_drifts import DriftingQuantity, StationDrift
from service.pages import pressure_wording, views
from service.pages.pressure_sentences import (
    at_edge_text,
    beside_text,
    drift_text,
    lot_at_edge_text,
    share_text,
)
from service.pages.units import NO_BREAK

BEGAN, FROM, TO = (datetime(2026, 3, day, 6, tzinfo=UTC) for day in (2, 3, 4))
DRIFT = StationDrift(
    rig_id="RIG-B",
    station_no=4,
    quantity="pressure_peak_mpa",
    drift_mpa=0.41,
    limit_mpa=0.25,
    began_at=BEGAN,
    from_at=FROM,
    to_at=TO,
    neighbours=[1, 2, 3],
    counted_cycles=34_560,
    decay_change_mpa=-0.012,
    rise_time_change_s=0.004,
)
SHARE = EdgeShare(
    uncertainty_known=True,
    counted_cycles=200_000,
    cycles_at_edge=1_200,
    share_at_edge=0.006,
    uncertainty_mpa=0.3,
)
EDGES = UnderEdgeRules(
    rule="PLAIN",
    uncertainty_known=True,
    counted_cycles=2_400_000,
    cycles_at_edge=1_200,
    share_at_edge=0.0005,
    uncertainty_mpa=0.3,
    verdict_under_plain="ACCEPT",
    verdict_under_guarded="CONTINUE",
    depends=True,
)


def plain(text: str | None) -> str:
    return (text or "").replace(NO_BREAK, " ")


def lot_page(evaluation: Evaluation) -> str:
    return views.render_lot(
        evaluation,
        lot=examples.lot(evaluation.lot_number),
        decisions=[],
        spec=examples.spec_version(),
        pressure_unit="mpa",
    )


def words_of(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page)).replace(NO_BREAK, " ")


def test_every_code_has_words() -> None:
    assert set(pressure_wording.EDGE_RULES) == set(get_args(EdgeRule))
    assert set(pressure_wording.DRIFTING) == set(get_args(DriftingQuantity))


def test_a_share_is_never_rounded_to_nothing() -> None:
    assert plain(share_text(0.0005)) == "0.05 %"
    assert plain(share_text(1e-9)) == "0.01 %"
    assert plain(share_text(0.0)) == "0.00 %"


def test_a_share_says_of_how_many_and_how_near() -> None:
    said = "1,200 cycles of 200,000 (0.60 %) within 0.30 MPa of an edge"
    assert plain(at_edge_text(SHARE, "mpa")) == said
    partly = structs.replace(SHARE, uncertainty_known=False)
    assert plain(at_edge_text(partly, "mpa")) == said + "; not known for every stretch"
    assert plain(at_edge_text(SHARE, "bar")).endswith("within 3.0 bar of an edge")


def test_a_lot_without_an_uncertainty_has_no_share() -> None:
    assert lot_at_edge_text(UnderEdgeRules(rule="PLAIN", uncertainty_known=False), "mpa") is None
    assert plain(lot_at_edge_text(EDGES, "mpa")).startswith("1,200 cycles of 2,400,000 (0.05 %)")


def test_a_drift_is_said_with_its_direction_and_what_changed_beside_it() -> None:
    assert plain(drift_text(DRIFT, "mpa")) == "0.41 MPa higher"
    assert plain(drift_text(structs.replace(DRIFT, drift_mpa=-0.41), "bar")) == "4.1 bar lower"
    assert plain(beside_text(DRIFT, "mpa")) == "pressure decay -0.012 MPa, rise time +0.004 s"


def test_the_lot_page_says_whether_the_verdict_depends_on_the_edges() -> None:
    page = lot_page(structs.replace(examples.accepted(), edge_rule=EDGES))
    read_page(page)
    words = words_of(page)
    assert "plain: the reading decides" in words
    assert pressure_wording.DEPENDS[True] in words
    assert "Continue: the plan is not finished" in words


def test_the_lot_page_says_so_where_the_uncertainty_is_not_known() -> None:
    unknown = UnderEdgeRules(rule="GUARDED", uncertainty_known=False)
    words = words_of(lot_page(structs.replace(examples.accepted(), edge_rule=unknown)))
    assert pressure_wording.UNCERTAINTY_UNKNOWN in words
    assert "guarded: the band is narrowed" in words


def test_a_drifting_station_stands_on_the_page_of_lot_and_unit_with_what_is_not_seen() -> None:
    evaluation = structs.replace(
        examples.accepted(), station_drifts=[DRIFT], marks=["STATION_DRIFT"]
    )
    life = structs.replace(examples.unit_life(), station_drifts=[DRIFT], edge=SHARE)
    unit = views.render_unit(
        life, lot_id="lot_l02", spec=examples.spec_version(), pressure_unit="mpa"
    )
    for page in (lot_page(evaluation), unit):
        read_page(page)
        words = words_of(page)
        assert "RIG-B station 4" in words
        assert "0.41 MPa higher" in words
        assert pressure_wording.DRIFT_BLIND in words
        # A sensor that reads low is the dangerous direction: said where a sensor is doubted.
        assert "dangerous direction" in words
    assert "1,200 cycles of 200,000" in words_of(unit)


def test_the_unit_table_shows_cycles_near_an_edge() -> None:
    accepted = examples.accepted()
    lines = [structs.replace(accepted.units[0], edge=SHARE), *accepted.units[1:]]
    words = words_of(lot_page(structs.replace(accepted, units=lines)))
    assert words.count("1,200 cycles of 200,000") == 1


@pytest.mark.parametrize("quantity", get_args(DriftingQuantity))
def test_quantities_are_named_in_words(quantity: DriftingQuantity) -> None:
    drift = structs.replace(DRIFT, quantity=quantity)
    words = words_of(lot_page(structs.replace(examples.accepted(), station_drifts=[drift])))
    assert pressure_wording.DRIFTING[quantity] in words
