"""The trail as the service and the command line check it."""

from pathlib import Path

import pytest
from lots_by_hand import add_rows, register, run_rows
from stores import open_store

from schemas.audit import AuditHead
from service.cli import main
from service.settings import Settings
from service.workflows.audit_trail import AuditTrail, report_of_directory


@pytest.fixture
def directory(tmp_path: Path) -> Path:
    """A data directory with a lot and an upload, closed."""
    store = open_store(tmp_path)
    register(store)
    add_rows(store, run_rows("U-1", "R-1", [33.0] * 20))
    store.close()
    return tmp_path


@pytest.mark.anyio
async def test_links_come_with_their_positions(directory: Path) -> None:
    store = open_store(directory)
    trail = AuditTrail(store)
    found = await trail.links(after=1, limit=2)
    assert [position for position, _ in found] == [2, 3]
    report = await trail.verify(None)
    assert report.is_intact
    assert report.link_count == report.head.position
    store.close()


def test_a_closed_directory_is_checked_from_the_command_line(
    directory: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["audit", "verify", "--data", str(directory)]) == 0
    said = capsys.readouterr().out
    head = said.strip().rsplit(" ", 1)[-1]
    assert main(["audit", "verify", "--data", str(directory), "--head", head]) == 0
    assert main(["audit", "verify", "--data", str(directory), "--head", "999:ab"]) == 1
    assert "noted down" in capsys.readouterr().err


def test_a_changed_fact_is_reported(directory: Path) -> None:
    store = open_store(directory)
    store.write_now(
        lambda db: db.execute("UPDATE lots SET lot_number = 'other'"), changes_facts=False
    )
    store.close()
    report = report_of_directory(Settings(data_directory=directory), None)
    assert not report.is_intact
    assert "lots" in str(report.difference)


def test_an_end_that_was_never_there_is_reported(directory: Path) -> None:
    noted = AuditHead(position=1, link="0" * 64)
    report = report_of_directory(Settings(data_directory=directory), noted)
    assert not report.is_intact
