"""Alive and ready are two questions."""

import threading
import time
from pathlib import Path

import pytest
from frame import frame
from litestar.testing import TestClient

import service.app


def test_it_is_alive_before_it_is_ready(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    may_finish = threading.Event()
    monkeypatch.setattr(service.app, "warm_up", lambda: may_finish.wait(10))
    with TestClient(frame(tmp_path)) as client:
        assert client.get("/healthz").json() == {"status": "alive"}
        starting = client.get("/readyz")
        assert starting.status_code == 503
        assert starting.json()["type"] == "/problems/busy"
        assert starting.headers["retry-after"] == "1"
        may_finish.set()
        limit = time.monotonic() + 5
        while client.get("/readyz").status_code != 200 and time.monotonic() < limit:
            time.sleep(0.01)
        assert client.get("/readyz").json() == {"status": "ready"}
