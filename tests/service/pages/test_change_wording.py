"""Withdrawals, corrections and draws in words, on the pages where a person looks for them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import pytest
from bodies import attribute_spec, cycle_rows, cycle_table, lives_table, run_outs
from html_checks import read_page
from msgspec import UNSET
from service_client import ServiceClient, running_service

from schemas.corrections import LifeStanding
from schemas.decisions import RowChangeKind
from schemas.sample_figures import SampleBasis
from service.pages.change_wording import ROW_CHANGES, SAMPLE_BASES, life_text

SERIALS = [f"{number:03}" for number in range(1, 7)]


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServiceClient]:
    folder: Path = tmp_path_factory.mktemp("service") / "data"
    with running_service(folder) as client:
        client.approved_spec(attribute_spec("P-1"))
        yield client


def text_of(service: ServiceClient, path: str) -> str:
    answer = service.get(path)
    assert answer.status_code == 200, answer.text
    return read_page(answer.text).text()


def test_every_code_has_words() -> None:
    assert ROW_CHANGES.keys() == {*get_args(RowChangeKind)}
    assert SAMPLE_BASES.keys() == {*get_args(SampleBasis)}


def test_a_life_is_told_in_words() -> None:
    assert life_text(UNSET) == "not in the lot"
    standing = LifeStanding(ending="RUN_OUT", counted_cycles=1, credited_cycles=1, failed=False)
    assert life_text(standing).endswith(", 1 counted cycle")


def test_the_lot_page_tells_a_withdrawal_with_the_verdict_before_and_after(
    service: ServiceClient,
) -> None:
    person = service.with_scopes(["lots.read", "holds.sign"], name="A. Tester")
    lot_id = service.lot("PAGE-1")["lot_id"]
    service.sample(lot_id, SERIALS)
    service.assign(lot_id, "P-1")
    service.upload(lives_table(run_outs("PAGE-1", SERIALS[:3])))
    gone = service.upload(lives_table(run_outs("PAGE-1", SERIALS[3:])))["upload_id"]
    assert "Withdrawals and corrections" not in text_of(service, f"/lots/{lot_id}")
    service.decide(lot_id)
    body = {"meaning": "withdrawn", "reason": "rows of another bench"}
    person.post(f"/v1/uploads/{gone}/withdrawal", body).raise_for_status()
    text = text_of(service, f"/lots/{lot_id}")
    for said in (
        "Withdrawals and corrections",
        f"Upload {gone} withdrawn",
        "rows of another bench",
        "a recorded decision no longer stands",
        "The sample was listed",
    ):
        assert said in text


def test_the_lot_page_keeps_the_old_serial_after_a_correction(service: ServiceClient) -> None:
    person = service.with_scopes(["lots.read", "holds.sign"], name="A. Tester")
    lot_id = service.lot("PAGE-2")["lot_id"]
    service.upload(cycle_table(cycle_rows("PAGE-2", "OO1", "run-1", [33.0, 33.0])))
    body = {
        "correction_key": "PAGE-2-1",
        "written": {"lot_number": "PAGE-2", "unit_serial": "OO1"},
        "belongs_to": {"lot_number": "PAGE-2", "unit_serial": "001"},
        "meaning": "serial corrected",
        "reason": "the label was read again",
    }
    told = person.post("/v1/corrections", body).json()
    text = text_of(service, f"/lots/{lot_id}")
    assert "Rows written as OO1 of lot PAGE-2 belong to 001 of lot PAGE-2" in text
    assert "not in the lot" in text
    [lot] = told["lots"]
    units = {unit["unit_serial"]: unit["unit_id"] for unit in lot["units"]}
    assert "by a correction of serials" in text_of(service, f"/units/{units['001']}")
    assert service.get(f"/units/{units['OO1']}").status_code == 404


def test_the_lot_page_tells_how_the_sample_was_drawn(service: ServiceClient) -> None:
    lot_id = service.lot("PAGE-3")["lot_id"]
    stratum = {"unit_count": 6, "spare_count": 2, "numbered": {"first": 1, "last": 40}}
    body = {
        "draw_key": "draw-7",
        "strata": [stratum],
        "substitution": "NEXT_SPARE_OF_STRATUM",
        "reason": "qualification",
        "seed": "lottery 17",
    }
    service.post(f"/v1/lots/{lot_id}/draws", body).raise_for_status()
    text = text_of(service, f"/lots/{lot_id}")
    for said in ("draw-7", "lottery 17", "6 of 40, 2 spares", "The service drew the sample"):
        assert said in text
