"""What the demo says to the service over HTTP: every request it makes is in this file."""

from __future__ import annotations

import base64
import hashlib
import http.client
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import TracebackType
from typing import Any
from urllib.parse import quote, urlsplit

import msgspec
from msgspec import UNSET, Struct, UnsetType

from service.errors import OperatorError

PARQUET = "application/vnd.apache.parquet"
_BLOCK_BYTES = 64 * 1024
_TIMEOUT_S = 300.0
_READY_LIMIT_S = 60.0


class Refused(OperatorError):
    """The service answered with a problem."""


class _Code(Struct, frozen=True, kw_only=True):
    code: str


class _HoldName(Struct, frozen=True, kw_only=True):
    name: str


class _Variables(Struct, frozen=True, kw_only=True):
    reliability_lower_worst: float
    target_lives_worst: float
    target_lives_required: float


class _Requirement(Struct, frozen=True, kw_only=True):
    variables: _Variables | UnsetType = UNSET


class EvaluationSeen(Struct, frozen=True, kw_only=True):
    """The part of an evaluation that the demo shows; whatever else it holds is ignored."""

    verdict: str
    reasons: list[_Code]
    robust_to_open_holds: bool
    holds: list[_HoldName] = []
    requirements: list[_Requirement] = []
    kind: str | UnsetType = UNSET

    @property
    def variables(self) -> _Variables | None:
        """The variables view of the only requirement, where there is one."""
        seen = self.requirements[0].variables if self.requirements else UNSET
        return None if seen is UNSET else seen


class _SpecSeen(Struct, frozen=True, kw_only=True):
    version: int
    state: str


class _LotSeen(Struct, frozen=True, kw_only=True):
    lot_id: str


class DemoClient:
    """
    One connection to the service, with a token. Use it in a ``with`` block.

    Every method repeats safely: the service knows what it has by its own key.

    Parameters
    ----------
    base_url : str
        For example ``http://127.0.0.1:8080``.
    token : str
        Bearer token with the scope ``admin``.
    """

    def __init__(self, base_url: str, token: str) -> None:
        place = urlsplit(base_url)
        self._connection = http.client.HTTPConnection(
            place.hostname or "", place.port, timeout=_TIMEOUT_S
        )
        self._headers = {"Authorization": f"Bearer {token}", "Accept": "application/json"}

    def __enter__(self) -> DemoClient:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._connection.close()

    def wait_until_ready(self) -> None:
        """
        Wait until the service says that it can answer.

        Raises
        ------
        Refused
            If it is not ready within a minute.
        """
        limit = time.monotonic() + _READY_LIMIT_S
        while True:
            status, body = self._send("GET", "/readyz")
            if status == http.HTTPStatus.OK:
                return
            if time.monotonic() > limit:
                raise _refusal("GET", "/readyz", status, body)
            time.sleep(0.05)

    def set_rig(self, rig_id: str, settings: dict[str, Any]) -> None:
        """State what a rig's codes mean."""
        self._json("PUT", f"/v1/rigs/{quote(rig_id, safe='')}", settings)

    def approved_spec(self, spec: dict[str, Any], *, reason: str) -> int:
        """Draft a specification and approve it; the answer is its version."""
        seen = msgspec.json.decode(self._json("POST", "/v1/specs", spec), type=_SpecSeen)
        if seen.state == "DRAFT":
            place = f"/v1/specs/{quote(spec['spec_id'], safe='')}/versions/{seen.version}/approval"
            self._json("PUT", place, {"meaning": "approved for use", "reason": reason})
        return seen.version

    def registered_lot(self, lot: dict[str, Any]) -> str:
        """Register a lot; the answer is its id."""
        return msgspec.json.decode(self._json("POST", "/v1/lots", lot), type=_LotSeen).lot_id

    def list_units(self, lot_id: str, units: list[dict[str, Any]]) -> None:
        """List the lot's sample."""
        self._json("POST", f"/v1/lots/{lot_id}/units", {"units": units})

    def assign(self, lot_id: str, *, spec_id: str, version: int, reason: str) -> None:
        """Make a specification the lot's current one."""
        body = {"spec_id": spec_id, "version": version, "reason": reason}
        self._json("POST", f"/v1/lots/{lot_id}/assignments", body)

    def record(self, collection: str, record: dict[str, Any]) -> None:
        """Post one record: `collection` is ``rig-events``, ``inspections`` or ``calibrations``."""
        self._json("POST", f"/v1/{collection}", record)

    def upload(self, path: Path, *, sent: Callable[[int], None]) -> None:
        """
        Send a table with its digest.

        Parameters
        ----------
        path : Path
            A Parquet file.
        sent : callable, keyword only
            Called with the bytes of every block that has gone out.

        Raises
        ------
        Refused
            If the service does not take it.
        """
        with path.open("rb") as file:
            digest = base64.b64encode(hashlib.file_digest(file, "sha256").digest()).decode()
        headers = {
            "Content-Type": PARQUET,
            "Content-Length": str(path.stat().st_size),
            "Content-Digest": f"sha-256=:{digest}:",
        }
        status, body = self._send("POST", "/v1/uploads", _blocks(path, sent), headers)
        if status not in {http.HTTPStatus.OK, http.HTTPStatus.CREATED}:
            raise _refusal("POST", "/v1/uploads", status, body)

    def evaluation(self, lot_id: str) -> EvaluationSeen:
        """The verdict on a lot as it stands."""
        body = self._json("GET", f"/v1/lots/{lot_id}/evaluation")
        return msgspec.json.decode(body, type=EvaluationSeen)

    def _json(self, method: str, path: str, content: dict[str, Any] | None = None) -> bytes:
        body = None if content is None else msgspec.json.encode(content)
        headers = {} if body is None else {"Content-Type": "application/json"}
        status, answer = self._send(method, path, body, headers)
        if status >= http.HTTPStatus.BAD_REQUEST:
            raise _refusal(method, path, status, answer)
        return answer

    def _send(
        self,
        method: str,
        path: str,
        body: bytes | Iterator[bytes] | None = None,
        headers: dict[str, str] | None = None,
    ) -> tuple[int, bytes]:
        try:
            self._connection.request(method, path, body, {**self._headers, **(headers or {})})
            answer = self._connection.getresponse()
            return answer.status, answer.read()
        except (OSError, http.client.HTTPException) as failure:
            self._connection.close()
            raise Refused(
                f"{method} {path}: no answer ({failure or type(failure).__name__})"
            ) from (failure)


def _blocks(path: Path, sent: Callable[[int], None]) -> Iterator[bytes]:
    with path.open("rb") as file:
        while block := file.read(_BLOCK_BYTES):
            yield block
            sent(len(block))


def _refusal(method: str, path: str, status: int, body: bytes) -> Refused:
    """What the service refused, in the words of its problem."""
    try:
        problem = msgspec.json.decode(body)
        said = " ".join(str(problem[key]) for key in ("title", "detail") if key in problem)
        codes = ", ".join(str(error.get("code")) for error in problem.get("errors", []))
    except (msgspec.DecodeError, TypeError, AttributeError):
        said, codes = body[:200].decode("utf-8", errors="replace"), ""
    return Refused(f"{method} {path}: {status} {said}{f' ({codes})' if codes else ''}")
