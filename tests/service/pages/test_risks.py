"""The page of proven risks, with the real service."""

from __future__ import annotations

from pathlib import Path

from html_checks import addresses_in, heading_levels, read_page
from service_client import running_service

from service.pages import risk_wording
from service.sessions import SESSION_COOKIE
from service.tokens import Actor

READER = Actor(name="reader", kind="PERSON", scopes=frozenset({"lots.read"}))


def test_the_page_shows_every_plan_with_its_limits_and_the_way_to_it_is_on_all_pages(
    tmp_path: Path,
) -> None:
    with running_service(tmp_path) as client:
        client.http.cookies.set(SESSION_COOKIE, client.http.app.state.sessions.open(READER))
        answer = client.http.get("/risks?pressure_unit=psi")
        lots = read_page(client.http.get("/lots").text)
    assert answer.status_code == 200
    page = read_page(answer.text)
    text = page.text()
    for words in (*risk_wording.PLANS.values(), *risk_wording.NOTES, "Stored energy"):
        assert words.lower() in text.lower()
    assert "/risks" in addresses_in(lots)
    assert heading_levels(page)[0] == 1
    assert not page.find("script")
