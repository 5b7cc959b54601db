"""The open service: one store, closed once, swept of what a killed process left."""

from pathlib import Path

import msgspec
import pytest
from bodies import attribute_spec
from stores import FIRST_INSTANT, StandingClock

from schemas.specs import Spec
from service.errors import DataDirectoryInUse, StorageBusy
from service.settings import Settings
from service.tokens import Actor
from service.workflows.application import Application

pytestmark = pytest.mark.anyio


def settings(folder: Path) -> Settings:
    return Settings(data_directory=folder, memory_limit="200MB", thread_count=1)


async def test_what_was_recorded_is_there_after_the_next_start(
    tmp_path: Path, actor: Actor
) -> None:
    application = await Application.open(settings(tmp_path / "data"), clock=StandingClock())
    assert application.ready
    body = msgspec.convert(attribute_spec(), Spec)
    recorded, _ = await application.specs.create(body, actor)
    assert recorded.created_at == FIRST_INSTANT
    await application.close()
    await application.close()
    assert not application.ready
    with pytest.raises(StorageBusy):
        await application.specs.find("CC25-A", 1)
    again = await Application.open(settings(tmp_path / "data"))
    assert await again.specs.find("CC25-A", 1) == recorded
    await again.close()


async def test_a_data_directory_has_one_service(tmp_path: Path) -> None:
    application = await Application.open(settings(tmp_path / "data"))
    with pytest.raises(DataDirectoryInUse):
        await Application.open(settings(tmp_path / "data"))
    await application.close()


async def test_the_spool_is_swept_at_the_start(tmp_path: Path) -> None:
    spool = tmp_path / "data" / "spool"
    spool.mkdir(parents=True)
    (spool / "half.parquet").write_bytes(b"PAR1")
    application = await Application.open(settings(tmp_path / "data"))
    assert list(spool.iterdir()) == []
    await application.close()
