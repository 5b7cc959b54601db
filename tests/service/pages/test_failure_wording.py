"""Failure records on the pages of a lot and of a unit, through the real service."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from typing import Any, get_args

import pytest
from bodies import BURST, attribute_spec, failed, lives_table, run_outs
from html_checks import Element, addresses_in, heading_levels, ids_of, read_page
from service_client import ServiceClient, running_service

from schemas.failure_records import FailureRecordState, HiddenBefore
from schemas.lives import NoticeCode
from schemas.lots import CyclePoint
from service.pages import failure_wording as words

SERIALS = [f"{number:03}" for number in range(1, 7)]
RIG_HOSE = BURST | {"name": "RIG_HOSE", "relevant": False}
SCRIPT = "<script>alert(1)</script>"
NEVER = re.compile(r"%\s*reliable|\bprobability\b|certified|\bsafe\b|\bproven\b", re.IGNORECASE)


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServiceClient]:
    with running_service(tmp_path_factory.mktemp("failures") / "data") as client:
        modes = {"modes": [BURST, RIG_HOSE], "burst_below_mpa": 10.0}
        client.approved_spec(attribute_spec("F-1", failure=modes))
        yield client


def recorded(service: ServiceClient, lot_number: str) -> dict[str, Any]:
    """A lot with one failure in its last planned cycle, a photograph, and a record of both."""
    lot_id = service.lot(lot_number)["lot_id"]
    service.assign(lot_id, "F-1")
    service.upload(
        lives_table([failed(lot_number, SERIALS[0], 1000), *run_outs(lot_number, SERIALS[1:])])
    )
    stored = service.http.post(
        "/v1/attachments",
        content=f"%PDF-1.7 {lot_number}".encode(),
        headers={"Content-Type": "application/pdf", **service.headers},
    ).json()
    body = {
        "record_key": f"{lot_number}-FA",
        "unit": {"lot_number": lot_number, "unit_serial": SERIALS[0]},
        "failure_mode": "RIG_HOSE",
        "cause": f"hose split {SCRIPT}",
        "evidence": "section of the hose",
        "examined_at": "2026-11-26T09:00:00Z",
        "custody": [
            {"held_by": "A. Tester", "place": "cabinet 4", "from_at": "2026-11-25T09:00:00Z"}
        ],
        "attachments": [stored["sha256"]],
    }
    answer = service.post("/v1/failure-records", body)
    assert answer.status_code == 201, answer.text
    return {**answer.json(), "sha256": stored["sha256"]}


def sign(service: ServiceClient, record_id: str, name: str) -> None:
    person = service.with_scopes(["lots.read", "holds.sign"], name=name)
    path = f"/v1/failure-records/{record_id}"
    tag = person.get(path).headers["etag"]
    body = {"meaning": "excluded from failures", "reason": "the hose is the rig's"}
    assert person.post(f"{path}/signatures", body, **{"If-Match": tag}).status_code == 201


def pages(service: ServiceClient, record: dict[str, Any]) -> tuple[Element, Element]:
    found = []
    for path in (f"/lots/{record['lot_id']}", f"/units/{record['unit_id']}"):
        answer = service.get(path, Accept="text/html")
        assert answer.status_code == 200, answer.text
        assert SCRIPT not in answer.text
        found.append(read_page(answer.text))
    return found[0], found[1]


def test_a_record_stands_on_the_pages_of_its_lot_and_unit_with_what_is_missing(
    service: ServiceClient,
) -> None:
    record = recorded(service, "P-1")
    for page in pages(service, record):
        text = page.text()
        assert SCRIPT in text  # as words, escaped in the page
        assert "RIG_HOSE" in text and "section of the hose" in text
        assert "A. Tester, cabinet 4, from" in text
        assert "Still to sign: two different persons." in text
        assert "The lot once signed: Accept." in text
        assert f"/v1/attachments/{record['sha256']}" in addresses_in(page)
        assert words.digest_text(record["sha256"]) in text
        assert words.TAKING_DOWN in text
    sign(service, record["record_id"], "A. Tester")
    for page in pages(service, record):
        assert "Still to sign: one person other than A. Tester." in page.text()


def test_an_excluded_failure_shows_the_verdict_with_and_without_it_and_a_notice(
    service: ServiceClient,
) -> None:
    record = recorded(service, "P-2")
    for name in ("A. Tester", "B. Tester"):
        sign(service, record["record_id"], name)
    lot, unit = pages(service, record)
    text = lot.text()
    assert "If they counted in full Not accepted: not demonstrated" in text
    assert "not relevant: a suspension at 1,000 counted cycles" in text
    assert "Still to sign" not in text
    for page in (lot, unit):
        assert words.NOTICES["NON_RELEVANT_LEAK"] in page.text()
    assert words.COUNTS_LESS in unit.text()


def test_pages_with_failure_records_are_well_formed_and_say_nothing_they_must_not(
    service: ServiceClient,
) -> None:
    record = recorded(service, "P-3")
    sign(service, record["record_id"], "A. Tester")
    sign(service, record["record_id"], "B. Tester")
    for page in pages(service, record):
        ids = ids_of(page)
        assert len(ids) == len(set(ids))
        assert {a[1:] for a in addresses_in(page) if a.startswith("#")} <= set(ids)
        levels = heading_levels(page)
        assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
        assert NEVER.findall(page.text()) == []
        shown = set(re.findall(r"\b[A-Z]+(?:_[A-Z0-9]+)+\b", page.text()))
        assert shown <= {"ONE_SIDED_2R_PLUS_2", "NO_PRIOR", "RIG_HOSE"}
        for table in page.find("table"):
            assert table.find("caption")[0].text()


def test_a_unit_without_a_record_has_no_such_section(service: ServiceClient) -> None:
    record = recorded(service, "P-4")
    other = next(
        unit
        for unit in service.read_all(f"/v1/lots/{record['lot_id']}/units")
        if unit["unit_id"] != record["unit_id"]
    )
    text = read_page(service.get(f"/units/{other['unit_id']}", Accept="text/html").text).text()
    assert words.INTRODUCTION not in text


def test_every_state_and_every_notice_has_words() -> None:
    assert set(words.STATES) == set(get_args(FailureRecordState))
    assert set(words.NOTICES) == set(words.NOTICE_TITLES) == set(get_args(NoticeCode))


def test_hidden_damage_is_told_with_its_place() -> None:
    point = CyclePoint(rig_id="RIG-A", run_id="A-7", cycle_in_run=4000)
    assert words.hidden_text(HiddenBefore(clean_after=point)).endswith(
        "surely absent after cycle 4,000 of run A-7 on RIG-A."
    )
