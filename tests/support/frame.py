"""The frame of the service without a store behind it, for tests of HTTP itself."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from litestar import Router
from litestar.testing import TestClient

from service.app import Service, build_app
from service.settings import Settings
from service.tokens import Scope, create_token


class NoWorkflows:
    """Stands for the store where no request gets that far."""

    ready = True

    def __init__(self) -> None:
        self.closed = False

    async def close(self) -> None:
        self.closed = True


async def open_nothing(_: Settings) -> NoWorkflows:
    return NoWorkflows()


def frame(data_directory: Path, *, demo_sign_in: bool = False) -> Service:
    """The real application, every route of it, with nothing behind it."""
    settings = Settings(data_directory=data_directory)
    return build_app(settings, demo_sign_in=demo_sign_in, open_workflows=open_nothing)


def bearer(data_directory: Path, scopes: Iterable[Scope]) -> dict[str, str]:
    """Header of a fresh token with these scopes."""
    _, text = create_token(data_directory, name="Test bench", kind="SYSTEM", scopes=scopes)
    return {"Authorization": f"Bearer {text}"}


@contextmanager
def frame_with(handlers: Sequence[Any], data_directory: Path) -> Iterator[TestClient[Service]]:
    """A client of the real application with further handlers below /v1."""
    app = frame(data_directory)
    app.register(Router("/v1/trial", route_handlers=list(handlers)))
    with TestClient(app) as client:
        yield client
