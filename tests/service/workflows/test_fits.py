"""A lot's lives as fits take them."""

from __future__ import annotations

import pytest
from bodies import failed, lives_table, run_outs
from service_client import ServiceClient, running_service
from stores import StandingClock

from schemas.fit_answers import FitReport
from schemas.fit_requests import FitQuestion
from service.errors import NotFound
from service.storage.store import Store
from service.workflows.computing import Workers
from service.workflows.fits import Fits

pytestmark = pytest.mark.anyio
QUESTION = FitQuestion(distributions=["WEIBULL"], confidence=0.9)


async def test_an_unknown_lot_has_no_fits(store: Store) -> None:
    with pytest.raises(NotFound):
        await Fits(store, Workers()).of_lot("lot_x", QUESTION)


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory):  # type: ignore[no-untyped-def]
    with running_service(tmp_path_factory.mktemp("fits") / "data", clock=StandingClock()) as client:
        yield client


def fits_of(service: ServiceClient, lot_number: str) -> dict:  # type: ignore[type-arg]
    [lot] = service.read(f"/v1/lots?lot_number={lot_number}")["items"]
    found: dict = service.read(f"/v1/lots/{lot['lot_id']}/fits?confidence=0.9")  # type: ignore[type-arg]
    return found


def test_the_lives_of_the_answer_are_those_that_were_fitted(service: ServiceClient) -> None:
    lives = [failed("L-1", "001", 500), *run_outs("L-1", ["002", "003"], 900)]
    service.upload(lives_table(lives))
    found = fits_of(service, "L-1")
    assert [(each["ending"], each["cycles"]) for each in found["lives"]] == [
        ("FAILED", 500),
        ("RUN_OUT", 900),
        ("RUN_OUT", 900),
    ]
    assert found["report"]["unit_count"] == 3
    assert found["report"]["failure_count"] == 1
    assert "modes" not in found["report"]


def test_units_that_say_nothing_are_shown_as_unused(service: ServiceClient) -> None:
    lot_id = service.lot("L-2")["lot_id"]
    service.sample(lot_id, ["001", "002"])
    service.upload(lives_table(run_outs("L-2", ["001"], 900)))
    found = fits_of(service, "L-2")
    assert [each["used"] for each in found["lives"]] == [True, False]
    assert "cycles" not in found["lives"][1]
    assert found["report"]["unit_count"] == 1


async def test_a_report_knows_its_own_kind() -> None:
    # An answer tells a report from a refusal by its tag.
    assert FitReport.__struct_config__.tag == "FIT_REPORT"
