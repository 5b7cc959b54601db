"""The HTTP server in this process."""

import socket
from pathlib import Path

import httpx
import pytest
from frame import NoWorkflows, frame

from service.app import build_app
from service.errors import DataDirectoryInUse
from service.server import ServerError, bind, running, url_of
from service.settings import Settings


def test_it_serves_on_a_free_port_and_stops(tmp_path: Path) -> None:
    listener = bind("127.0.0.1", 0)
    with running(frame(tmp_path), listener) as url:
        answer = httpx.get(f"{url}/healthz")
        assert answer.json() == {"status": "alive"}
        assert "server" not in answer.headers
    with pytest.raises(httpx.ConnectError):
        httpx.get(f"{url}/healthz")


def test_a_port_in_use_is_told_plainly() -> None:
    with bind("127.0.0.1", 0) as taken:
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(ServerError, match=f"port {port} on 127.0.0.1 is in use"):
            bind("127.0.0.1", port)


def test_an_address_that_is_not_ours_is_told_plainly() -> None:
    with pytest.raises(ServerError, match=r"cannot listen on 203\.0\.113\.1"):
        bind("203.0.113.1", 8080)  # documentation range of RFC 5737


@pytest.mark.parametrize(
    ("failure", "told"),
    [
        (RuntimeError("row 7 of a secret"), "failed to start; the log says why"),
        (DataDirectoryInUse("data is in use"), "^data is in use$"),
    ],
)
def test_a_start_that_fails_is_told(tmp_path: Path, failure: Exception, told: str) -> None:
    async def refuse(_: Settings) -> NoWorkflows:
        raise failure

    app = build_app(Settings(data_directory=tmp_path), open_workflows=refuse)
    with pytest.raises(ServerError, match=told), running(app, bind("127.0.0.1", 0)):
        pass


def test_the_address_can_be_opened_in_a_browser() -> None:
    with bind("0.0.0.0", 0) as everywhere:
        assert url_of(everywhere) == f"http://localhost:{everywhere.getsockname()[1]}"
    if socket.has_ipv6:
        with bind("::1", 0) as six:
            assert url_of(six) == f"http://[::1]:{six.getsockname()[1]}"
