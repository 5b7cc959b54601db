"""Past verdicts are computed again from their evidence; what differs is named."""

from pathlib import Path

import pytest
from decided_lots import BODY, key_of, prepared
from stores import StandingClock, open_store

import service.workflows.recheck as rechecking
from service.cli import main
from service.settings import Settings
from service.tokens import Actor
from service.workflows.application import Application
from service.workflows.recheck import recheck_directory

pytestmark = pytest.mark.anyio


@pytest.fixture
async def decided(tmp_path: Path, clock: StandingClock, actor: Actor) -> Path:
    """A closed data directory with one recorded verdict."""
    folder = tmp_path / "own"
    settings = Settings(data_directory=folder, memory_limit="200MB", thread_count=1)
    application = await Application.open(settings, clock=clock)
    lot_id = await prepared(application, actor, ran=6)
    key = await key_of(application, lot_id)
    await application.decisions.record(lot_id, BODY, actor, key_seen=key)
    await application.close()
    return folder


async def test_the_same_program_says_the_same(
    decided: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    report = recheck_directory(Settings(data_directory=decided))
    assert (report.decision_count, report.differing_count) == (1, 0)
    assert main(["recheck", "--data", str(decided)]) == 0
    assert "ACCEPT\tsame" in capsys.readouterr().out


async def test_a_verdict_that_another_rule_would_give_is_named(
    decided: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    # A program whose reduction voids every unit: what a planted fault may do.
    plain = rechecking.reduce_unit

    def other(*given: object) -> object:
        life = plain(*given)  # type: ignore[arg-type]
        return rechecking.msgspec.structs.replace(life, credited_cycles=0)

    monkeypatch.setattr(rechecking, "reduce_unit", other)
    report = recheck_directory(Settings(data_directory=decided))
    [found] = report.decisions
    assert not found.agrees
    assert found.changed_units == [f"{number:03}" for number in range(1, 7)]
    assert main(["recheck", "--data", str(decided)]) == 1
    assert "1 of 1 verdicts differ" in capsys.readouterr().err


async def test_a_verdict_from_before_evidence_was_kept_is_said_to_be(decided: Path) -> None:
    store = open_store(decided)
    store.write_now(lambda db: db.execute("DELETE FROM decision_evidence"), changes_facts=False)
    store.close()
    [found] = recheck_directory(Settings(data_directory=decided)).decisions
    assert (found.agrees, found.not_rechecked) == (
        False,
        "it was recorded before evidence was kept",
    )
