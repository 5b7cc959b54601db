"""The pages over HTTP, with built answers in the place of the store."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import page_examples as examples
import pytest
import trend_examples
from html_checks import addresses_in, read_page
from litestar.testing import TestClient
from msgspec import UNSET, structs

from schemas.calibrations import Calibration
from schemas.decisions import Decision, Evaluation
from schemas.failure_records import FailureRecordReport
from schemas.lots import Assignment, Lot, Unit
from schemas.sample_draws import SampleDraw
from schemas.specs import SpecVersion
from schemas.trends import UnitTrend
from service.app import Service, build_app
from service.auth import scope_of
from service.errors import NotFound
from service.pages import views
from service.pages.routes import ROUTERS
from service.sessions import SESSION_COOKIE
from service.settings import Settings
from service.tokens import Actor
from service.workflows.application import Application

READER = Actor(name="reader", kind="PERSON", scopes=frozenset({"lots.read"}))
EVALUATIONS = {each.lot_id: each for each in examples.every_kind().values()}


class BuiltAnswers(Application):
    """Answers as the workflows would give them, from the examples; nothing is opened."""

    def __init__(self) -> None:
        self._is_open = True
        self.lots = SimpleNamespace(matching=self.matching, find=self.lot)
        self.evaluations = SimpleNamespace(read=self.evaluation)
        self.decisions = SimpleNamespace(of_lot=self.decisions_of)
        self.units = SimpleNamespace(find=self.unit, life=self.life, trend=self.trend)
        self.specs = SimpleNamespace(find=self.spec)
        self.failure_records = SimpleNamespace(of_lot=self.records_of, of_unit=self.records_of)
        self.calibrations = SimpleNamespace(of_lot=self.calibrations_of)
        self.sample_draws = SimpleNamespace(of_lot=self.draws_of)
        self.corrections = SimpleNamespace(changes_of_lot=self.calibrations_of)

    async def close(self) -> None:
        """Nothing is open."""

    async def matching(self, _: Any, *, after: int, limit: int) -> list[tuple[int, Lot]]:
        lots = [await self.lot(lot_id) for lot_id in EVALUATIONS]
        return list(enumerate(lots, start=1))[after : after + limit]

    async def lot(self, lot_id: str) -> Lot:
        if lot_id not in EVALUATIONS:
            raise NotFound("lot", lot_id)
        assignment = Assignment(
            spec_id="CC25-Q1",
            version=1,
            hash=examples.SPEC_HASH,
            reason="order",
            assigned_at=examples.spec_version().created_at,
            assigned_by="test engineer",
        )
        lot = examples.lot(EVALUATIONS[lot_id].lot_number)
        return structs.replace(lot, assignment=assignment)

    async def evaluation(self, lot_id: str, spec: str | None) -> Evaluation:
        assert spec is None
        return EVALUATIONS[lot_id]

    async def decisions_of(
        self, lot_id: str, *, after: int, limit: int
    ) -> list[tuple[int, Decision]]:
        if lot_id != "lot_l01":
            return []
        first = examples.decision(EVALUATIONS[lot_id], outdated=True)
        second = structs.replace(first, reason="Signed again.", decision_outdated=False)
        return [(1, first), (2, second)][after:limit]

    async def calibrations_of(self, lot_id: str) -> list[Calibration]:
        return []

    async def draws_of(self, _: str, *, after: int, limit: int) -> list[tuple[int, SampleDraw]]:
        return []

    async def records_of(self, _: str) -> list[FailureRecordReport]:
        return []

    async def unit(self, unit_id: str) -> Unit:
        if unit_id != "unit_l02-012":
            raise NotFound("unit", unit_id)
        return Unit(
            unit_id=unit_id, lot_id="lot_l02", lot_number="L02", unit_serial="L02-012", listed=True
        )

    async def trend(self, unit_id: str, most_points: int) -> UnitTrend:
        return trend_examples.trend(unit_id=unit_id)

    async def life(self, unit_id: str) -> Any:
        await self.unit(unit_id)
        return examples.unit_life()

    async def spec(self, spec_id: str, version: int) -> SpecVersion:
        assert (spec_id, version) == ("CC25-Q1", 1)
        return examples.spec_version()


def build(data_directory: Path) -> Service:
    """The real application with built answers; pages are added if it has none yet."""

    async def open_answers(_: Settings) -> BuiltAnswers:
        return BuiltAnswers()

    app = build_app(Settings(data_directory=data_directory), open_workflows=open_answers)
    if "/lots" not in {route.path for route in app.routes}:
        for handler in ROUTERS:
            app.register(handler)
    return app


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient[Service]]:
    app = build(tmp_path)
    with TestClient(app) as client:
        client.cookies.set(SESSION_COOKIE, app.state.sessions.open(READER))
        yield client


def test_the_start_leads_to_the_lots(client: TestClient[Service]) -> None:
    answer = client.get("/", follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/lots"


def test_the_list_and_every_page_it_leads_to_answer_html(client: TestClient[Service]) -> None:
    answer = client.get("/lots")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    found = [a for a in addresses_in(read_page(answer.text)) if a.startswith("/lots/")]
    assert len(found) == len(EVALUATIONS)
    for address in found:
        page = client.get(address)
        assert page.status_code == 200, address
        assert read_page(page.text).find("h1")[0].text().startswith("Lot ")


def test_a_policy_forbids_what_the_page_does_not_need(client: TestClient[Service]) -> None:
    policy = client.get("/lots").headers["content-security-policy"]
    assert "default-src 'self'" in policy or "default-src 'none'" in policy
    assert "unsafe-inline" not in policy


def test_the_newest_decision_stands_first(client: TestClient[Service]) -> None:
    text = read_page(client.get("/lots/lot_l01").text).text()
    assert text.index("Signed again.") < text.index("All end checks are clean.")


def test_the_unit_page_draws_its_trend_beside_a_table_of_the_same_points(
    client: TestClient[Service],
) -> None:
    page = read_page(client.get("/units/unit_l02-012").text)
    text = page.text()
    assert "between 4,210 and 4,700 counted cycles" in text
    rows = [row for row in page.find("tr") if "station 3, run-1" in row.text()]
    assert len(rows) == 60
    assert "Safety" in text


def test_the_unit_page_leads_back_to_its_lot(client: TestClient[Service]) -> None:
    page = read_page(client.get("/units/unit_l02-012?pressure_unit=psi").text)
    assert "/lots/lot_l02?pressure_unit=psi" in addresses_in(page)
    assert "87 psi (0.60 MPa)" in page.text().replace("\u00a0", " ")


@pytest.mark.parametrize("query", ["pressure_unit=furlong", "presure_unit=psi"])
def test_a_wrong_parameter_is_refused_and_not_guessed(
    query: str, client: TestClient[Service]
) -> None:
    assert client.get(f"/lots?{query}").status_code == 400


@pytest.mark.parametrize("address", ["/lots/lot_x", "/units/unit_x"])
def test_what_is_not_there_is_not_found(address: str, client: TestClient[Service]) -> None:
    assert client.get(address).status_code == 404


def test_a_long_list_is_paged_and_keeps_the_readers_unit(client: TestClient[Service]) -> None:
    seen: list[str] = []
    address = "/lots?limit=3&pressure_unit=bar"
    while address:
        page = read_page(client.get(address).text)
        (table,) = page.find("table")
        seen += [link.text() for link in table.find("a")]
        more = [a for a in page.find("a") if a.text() == "More lots"]
        address = more[0].attributes["href"] if more else ""
        assert not address or "pressure_unit=bar" in address
    assert seen == [each.lot_number for each in EVALUATIONS.values()]


@pytest.mark.parametrize("address", ["/lots", "/lots/lot_l01", "/units/unit_l02-012"])
def test_nobody_reads_a_page_without_having_signed_in(address: str, tmp_path: Path) -> None:
    with TestClient(build(tmp_path)) as stranger:
        answer = stranger.get(address, headers={"accept": "text/html"}, follow_redirects=False)
    assert answer.status_code in {303, 401}
    assert "L01" not in answer.text


def test_the_stylesheet_is_served_to_anybody(tmp_path: Path) -> None:
    with TestClient(build(tmp_path)) as stranger:
        answer = stranger.get("/static/style.css")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/css")
    assert answer.content == views.stylesheet()


def test_pages_only_read_and_are_not_part_of_the_contract() -> None:
    for handler in ROUTERS:
        assert handler.http_methods <= {"GET", "HEAD", "OPTIONS"}  # type: ignore[union-attr]
        assert handler.include_in_schema is False  # type: ignore[union-attr]
        assert scope_of(handler) in {None, "lots.read"}  # type: ignore[arg-type]


def test_a_lot_without_a_specification_needs_none() -> None:
    assert EVALUATIONS["lot_x77"].spec is UNSET
