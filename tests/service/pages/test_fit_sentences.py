"""Figures of fits in words, and the page they stand on, through the real service."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator
from typing import Any

import msgspec
import pytest
from bodies import attribute_spec, failed, lives_table, run_outs
from html_checks import addresses_in, heading_levels, ids_of, read_page
from service_client import ServiceClient, running_service

from schemas.estimates import NotEstimable
from schemas.lot_comparisons import LotHomogeneity
from schemas.second_opinion import DistributionOpinion
from service.pages import fit_sentences as fit

LIVES = [
    failed("LOT-1", "001", 4_568),
    failed("LOT-1", "002", 49_576),
    failed("LOT-1", "003", 70_159),
    *run_outs("LOT-1", [f"{number:03}" for number in range(4, 11)], 71_733),
]


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServiceClient]:
    with running_service(tmp_path_factory.mktemp("fits") / "data") as client:
        client.upload(lives_table(LIVES))
        client.approved_spec(attribute_spec("P-1"))
        lot_id = client.lot("LOT-2")["lot_id"]
        client.sample(lot_id, ["001", "002"])
        client.assign(lot_id, "P-1")
        yield client


def page(service: ServiceClient, lot_number: str, query: str = "") -> Any:
    [lot] = service.read(f"/v1/lots?lot_number={lot_number}")["items"]
    answer = service.get(f"/lots/{lot['lot_id']}/fits{query}", Accept="text/html")
    assert answer.status_code == 200, answer.text
    return read_page(answer.text)


def test_limits_are_rounded_to_their_careful_side() -> None:
    assert fit.share_text(0.99961, "LOWER") == "0.999"
    assert fit.share_text(0.99901, "UPPER") == "1.000"
    assert fit.cycles_text(9.99, "LOWER") == "9"
    assert fit.cycles_text(4.2e19, "UPPER") == "4.20e+19"
    assert fit.shape_text(NotEstimable(reason="SHAPE_NOT_FITTED"), "LOWER") == (
        "given by the distribution"
    )


def test_what_the_library_did_is_said_with_its_reason() -> None:
    refused = DistributionOpinion(
        distribution="GAMMA", code="NOT_FITTED", reason="TOO_FEW_DISTINCT_FAILURES"
    )
    assert fit.opinion_text(refused) == "no fit: it asks for more failures at different counts"
    assert fit.parameters_text(refused) == "–"
    agreed = DistributionOpinion(
        distribution="WEIBULL", code="AGREES", parameters={"scale_cycles": 208_086.2, "shape": 1.0}
    )
    assert fit.opinion_text(agreed) == "agrees"
    assert fit.parameters_text(agreed) == "scale 2.081e+05, shape 1"


def test_a_lot_without_a_specification_is_asked_about_first(service: ServiceClient) -> None:
    asked = page(service, "LOT-1")
    assert "choose both to see the fits" in asked.text()
    assert asked.find("svg", style="chart") == []
    [form] = [each for each in asked.find("form") if each.attributes["method"] == "get"]
    fields = [each for each in form.find("input") if each.attributes["name"] != "second_opinion"]
    assert all("required" in each.attributes for each in fields)


def test_the_page_shows_drawing_and_the_same_numbers_as_the_interface(
    service: ServiceClient,
) -> None:
    shown = page(service, "LOT-1", "?confidence=0.9&at_cycles=60000")
    text = shown.text()
    assert "3 failures among 10 units" in text
    # eta of R 4.2.2 survreg for these lives.
    assert "208,086" in text
    assert len(shown.find("svg", style="chart")) == 1
    assert len(shown.find("polygon", style="plot-band")) == 1
    [lot] = service.read("/v1/lots?lot_number=LOT-1")["items"]
    path = f"/v1/lots/{lot['lot_id']}/fits?confidence=0.9&at_cycles=60000&distribution=WEIBULL"
    [weibull] = service.read(path)["report"]["distributions"]
    [row] = weibull["likelihood_limits"]["reliability"]
    assert f"{row['estimate']:.3f}" in text
    assert "nothing on this page decides" in text
    assert "limits from the normal approximation claim too much" in text
    assert "Second opinion" not in [each.text() for each in shown.find("h2")]


def test_every_failure_in_the_drawing_stands_in_a_table(service: ServiceClient) -> None:
    shown = page(service, "LOT-1", "?confidence=0.9&at_cycles=60000")
    marks = shown.find("svg", style="chart")[0].find("svg", style="chart-mark")
    assert len(marks) == 3
    cells = {cell.text() for cell in [*shown.find("th"), *shown.find("td")]}
    assert {"4,568", "49,576", "70,159"} <= cells


def test_a_second_opinion_is_asked_for_and_its_short_stop_is_said(service: ServiceClient) -> None:
    text = page(service, "LOT-1", "?confidence=0.9&at_cycles=60000&second_opinion=true").text()
    assert "stopped short: our log-likelihood is higher" in text
    assert "The library's fit and ours are not the same" in text


def test_a_lot_without_failures_says_why_there_is_nothing_to_draw(service: ServiceClient) -> None:
    shown = page(service, "LOT-2")
    assert "Not estimated, as no unit failed." in shown.text()
    assert "those of the specification" in shown.text()
    assert shown.find("svg", style="chart") == []
    # The target and confidence of the specification stand in the form.
    values = {each.attributes.get("value") for each in shown.find("input")}
    assert {"0.88", "1000"} <= values


def test_the_page_is_well_formed_and_leads_nowhere_else(service: ServiceClient) -> None:
    for query in ("", "?confidence=0.9&at_cycles=60000&pressure_unit=psi"):
        shown = page(service, "LOT-1", query)
        assert len(ids_of(shown)) == len(set(ids_of(shown)))
        levels = heading_levels(shown)
        assert levels[0] == 1
        assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
        assert all(re.match(r"[/#]|data:", each) for each in addresses_in(shown))
        assert shown.find("script") == []
        assert "surgical emergency" in shown.text()


def test_the_lot_page_leads_to_it(service: ServiceClient) -> None:
    [lot] = service.read("/v1/lots?lot_number=LOT-1")["items"]
    answer = service.get(f"/lots/{lot['lot_id']}", Accept="text/html")
    assert f"/lots/{lot['lot_id']}/fits" in addresses_in(read_page(answer.text))


def test_a_wrong_choice_is_told_on_a_page(service: ServiceClient) -> None:
    [lot] = service.read("/v1/lots?lot_number=LOT-1")["items"]
    answer = service.get(f"/lots/{lot['lot_id']}/fits?confidence=95", Accept="text/html")
    assert answer.status_code == 400
    assert answer.headers["content-type"].startswith("text/html")


def compared(service: ServiceClient, **lots: list[tuple[int, bool]]) -> LotHomogeneity:
    """Several lots against the first of them."""
    ids = []
    for name, lives in lots.items():
        rows = [
            {
                "lot_number": name,
                "unit_serial": f"{number:03}",
                "ending": "FAILED" if fell else "RUN_OUT",
                "cycles": cycles,
            }
            for number, (cycles, fell) in enumerate(lives, start=1)
        ]
        service.upload(lives_table(rows))
        [lot] = service.read(f"/v1/lots?lot_number={name}")["items"]
        ids.append(lot["lot_id"])
    others = "&".join(f"other_lot={each}" for each in ids[1:])
    found = service.read(f"/v1/lots/{ids[0]}/homogeneity?{others}")
    return msgspec.convert(found, LotHomogeneity)


def test_a_difference_is_said_and_so_is_how_little_none_shows(service: ServiceClient) -> None:
    early = [(100 + 10 * number, True) for number in range(8)]
    late = [(9_000 + 900 * number, True) for number in range(8)]
    differs = fit.comparison_text(compared(service, EARLY=early, LATE=late))
    assert differs.startswith("Lots: they differ (")
    assert "Do not read the lot as one." in differs
    few = [(900, True), (1_100, True), (1_500, False)]
    alike = fit.comparison_text(compared(service, FEW_A=few, FEW_B=few))
    assert "no difference seen" in alike
    assert alike.endswith("With so few failures that shows little.")


def test_a_weak_batch_among_units_that_all_ran_out_is_seen_by_the_order_of_failures(
    service: ServiceClient,
) -> None:
    """Four failed, eight unbroken: no Weibull for the sound batch, p = 0.0002 by log-rank
    (statistic 13.99 on one degree of freedom, its upper tail by math.erfc)."""
    weak = [(735, True), (1_668, True), (2_694, True), (3_049, True)]
    text = fit.comparison_text(compared(service, SB_17=weak, SB_12=[(10_000, False)] * 8))
    assert text.startswith("Lots: they differ (order of failures, p below 0.001).")
    assert math.erfc(math.sqrt(13.99 / 2)) == pytest.approx(0.000184, rel=0.01)
    assert text.endswith("With so few failures the p-value is only a guide.")


def test_groups_without_enough_failures_are_not_compared(service: ServiceClient) -> None:
    text = fit.comparison_text(compared(service, ONE=[(900, True)], TWO=[(1_000, False)]))
    assert text == "Lots: not compared, as fewer than two groups can be fitted."
