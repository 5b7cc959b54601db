"""The composition root."""

import subprocess
import sys
from pathlib import Path

import pytest
from frame import NoWorkflows, frame
from litestar.testing import TestClient

from service.app import build_app
from service.errors import DataDirectoryInUse
from service.settings import Settings


def test_importing_the_service_loads_no_heavy_library(repository: Path) -> None:
    program = (
        "import sys, service, service.app, service.cli, service.server, service.warm_up\n"
        "service.warm_up.warm_up()\n"
        "heavy = ['reliability', 'statsmodels', 'matplotlib', 'pandas', 'scipy.stats']\n"
        "print([name for name in heavy if name in sys.modules])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=repository, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


def test_building_the_application_touches_no_disk(tmp_path: Path) -> None:
    frame(tmp_path / "absent")
    assert not (tmp_path / "absent").exists()


def test_two_applications_can_live_in_one_process(tmp_path: Path) -> None:
    with TestClient(frame(tmp_path / "a")) as one, TestClient(frame(tmp_path / "b")) as two:
        assert one.get("/healthz").status_code == two.get("/healthz").status_code == 200


def test_the_store_is_closed_when_the_application_stops(tmp_path: Path) -> None:
    workflows = NoWorkflows()

    async def open_it(_: Settings) -> NoWorkflows:
        return workflows

    app = build_app(Settings(data_directory=tmp_path), open_workflows=open_it)
    with TestClient(app):
        assert not workflows.closed
    assert workflows.closed


def test_a_store_that_cannot_be_opened_stops_the_start(tmp_path: Path) -> None:
    async def refuse(_: Settings) -> NoWorkflows:
        raise DataDirectoryInUse()

    app = build_app(Settings(data_directory=tmp_path), open_workflows=refuse)
    with pytest.RaisesGroup(DataDirectoryInUse), TestClient(app):
        pass
    assert app.state.readiness.refusal == DataDirectoryInUse().detail
