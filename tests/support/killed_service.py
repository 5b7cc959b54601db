"""The service as a process of its own that can be killed at any moment and started again."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import httpx
from product_source import ROOT

from service.tokens import Scope, create_token

_SERVE = ("serve", "--port", "0", "--data")
PARQUET = "application/vnd.apache.parquet"
_ADDRESS = re.compile(r" at (http://127\.0\.0\.1:\d+)$")


class KilledService:
    """
    One data directory, served by a process that is killed and started again.

    `send` gives the answer, or None where the process died under the request.
    """

    def __init__(self, data_directory: Path, log: Path) -> None:
        self.data_directory = data_directory
        self._log = log
        self._tokens: dict[str, str] = {}
        self._process: subprocess.Popen[bytes] | None = None
        self._http = httpx.Client()
        self.start()

    def start(self) -> None:
        """Start the process and wait until it answers."""
        log_from = self._log.stat().st_size if self._log.exists() else 0
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "service", *_SERVE, str(self.data_directory)],
                cwd=ROOT,
                env={**os.environ, "LOTPROOF_THREAD_COUNT": "1", "LOTPROOF_MEMORY_LIMIT": "300MB"},
                stdout=subprocess.DEVNULL,
                stderr=log,
            )
        url = _until(lambda: self._said_address(log_from))
        self._http.close()
        self._http = httpx.Client(base_url=url, timeout=120)
        _until(self._is_ready)

    def kill(self) -> None:
        """Kill the process where it stands; nothing of it gets to run once more."""
        assert self._process is not None
        self._process.send_signal(signal.SIGKILL)
        self._process.wait(timeout=30)

    def kill_after(self, seconds: float) -> threading.Timer:
        """Kill the process in so many seconds, whatever it is doing then."""
        timer = threading.Timer(seconds, self.kill)
        timer.start()
        return timer

    def close(self) -> None:
        """End the process if it still runs."""
        self._http.close()
        if self._process is not None and self._process.poll() is None:
            self.kill()

    def send(
        self, method: str, path: str, *, who: tuple[str, Scope] | None = None, **content: Any
    ) -> httpx.Response | None:
        """One request, by a system that may do everything unless a person is named."""
        headers = content.pop("headers", {}) | {"Authorization": f"Bearer {self._token(who)}"}
        try:
            return self._http.request(method, path, headers=headers, **content)
        except httpx.TransportError:
            return None

    def read(self, path: str) -> Any:
        """Body of what stands at an address."""
        answer = self.send("GET", path)
        assert answer is not None and answer.status_code == 200, answer and answer.text
        return answer.json()

    def read_all(self, path: str) -> list[Any]:
        """Items of every page of a list."""
        items: list[Any] = []
        next_path: str | None = path
        while next_path is not None:
            page = self.read(next_path)
            items += page["items"]
            next_path = page.get("next")
        return items

    def _token(self, who: tuple[str, Scope] | None) -> str:
        name, scope = who or ("Test bench", "admin")
        if name not in self._tokens:
            kind = "PERSON" if who else "SYSTEM"
            scopes: list[Scope] = [scope, "lots.read"]
            _, text = create_token(self.data_directory, name=name, kind=kind, scopes=scopes)
            self._tokens[name] = text
        return self._tokens[name]

    def _said_address(self, log_from: int) -> str | None:
        self._must_live()
        said = self._log.read_bytes()[log_from:].decode("utf-8", "replace")
        found = [match[1] for line in said.splitlines() if (match := _ADDRESS.search(line))]
        return found[0] if found else None

    def _must_live(self) -> None:
        assert self._process is not None
        if self._process.poll() is not None:
            raise AssertionError(f"the service did not start: {self._log.read_text('utf-8')}")

    def _is_ready(self) -> bool:
        self._must_live()
        try:
            return self._http.get("/readyz").status_code == 200
        except httpx.TransportError:
            return False


def _until(ask: Any, timeout_s: float = 60.0) -> Any:
    """Ask until there is an answer."""
    end = time.monotonic() + timeout_s
    while not (answer := ask()):
        if time.monotonic() > end:
            raise AssertionError("no answer in time")
        time.sleep(0.02)
    return answer
