"""The whole service in this process, with a store of its own, and one method per thing posted."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

from httpx import Response
from litestar.testing import TestClient

from service.app import Service, build_app
from service.settings import Settings
from service.tokens import Scope, create_token
from service.workflows.application import Application
from service.workflows.clock import Clock, utc_now

PARQUET = "application/vnd.apache.parquet"


class ServiceClient:
    """
    A caller of the service.

    Methods named after a thing post it, demand success and give the answer's
    body; `get`, `post`, `put` and `delete` give the answer as it is.
    """

    def __init__(self, http: TestClient[Service], data_directory: Path, token: str) -> None:
        self.http = http
        self.data_directory = data_directory
        self.headers = {"Authorization": f"Bearer {token}"}

    def with_scopes(self, scopes: Iterable[Scope], *, name: str = "Other") -> ServiceClient:
        """The same service for a caller with other scopes."""
        _, token = create_token(self.data_directory, name=name, kind="PERSON", scopes=scopes)
        return ServiceClient(self.http, self.data_directory, token)

    def get(self, path: str, **headers: str) -> Response:
        return self.http.get(path, headers=self._headers(headers))

    def post(self, path: str, body: Any = None, **headers: str) -> Response:
        return self.http.post(path, json=body, headers=self._headers(headers))

    def put(self, path: str, body: Any, **headers: str) -> Response:
        return self.http.put(path, json=body, headers=self._headers(headers))

    def delete(self, path: str) -> Response:
        return self.http.delete(path, headers=self.headers)

    def post_upload(self, body: bytes, **headers: str) -> Response:
        sent = {"Content-Type": PARQUET, **self._headers(headers)}
        return self.http.post("/v1/uploads", content=body, headers=sent)

    def read(self, path: str) -> Any:
        """Body of what stands at an address."""
        return _body(self.get(path), {200})

    def read_all(self, path: str) -> list[Any]:
        """Items of every page of a list."""
        items: list[Any] = []
        next_path: str | None = path
        while next_path is not None:
            page = self.read(next_path)
            items += page["items"]
            next_path = page.get("next")
        return items

    def draft(self, spec: dict[str, Any]) -> Any:
        return _body(self.post("/v1/specs", spec), {200, 201})

    def approve(self, spec_id: str, version: int = 1) -> Any:
        path = f"/v1/specs/{spec_id}/versions/{version}/approval"
        return _body(self.put(path, {"meaning": "approved", "reason": "reviewed"}), {200})

    def approved_spec(self, spec: dict[str, Any]) -> Any:
        """A specification drafted and approved."""
        return self.approve(self.draft(spec)["spec_id"])

    def lot(self, lot_number: str, part_number: str = "CC25") -> Any:
        body = {"lot_number": lot_number, "part_number": part_number}
        return _body(self.post("/v1/lots", body), {200, 201})

    def sample(self, lot_id: str, serials: Iterable[str], batch: str | None = None) -> Any:
        batches = {} if batch is None else {"component_batch": batch}
        units = [{"unit_serial": serial, **batches} for serial in serials]
        return _body(self.post(f"/v1/lots/{lot_id}/units", {"units": units}), {200, 201})

    def assign(self, lot_id: str, spec_id: str, version: int = 1) -> Any:
        body = {"spec_id": spec_id, "version": version, "reason": "as ordered"}
        return _body(self.post(f"/v1/lots/{lot_id}/assignments", body), {200, 201})

    def upload(self, body: bytes) -> Any:
        return _body(self.post_upload(body), {200, 201})

    def rig(self, rig_id: str, settings: dict[str, Any]) -> Any:
        return _body(self.put(f"/v1/rigs/{quote(rig_id, safe='')}", settings), {200, 201})

    def rig_event(self, event: dict[str, Any]) -> Any:
        return _body(self.post("/v1/rig-events", event), {200, 201})

    def inspection(self, inspection: dict[str, Any]) -> Any:
        return _body(self.post("/v1/inspections", inspection), {200, 201})

    def evaluation(self, lot_id: str, spec: str | None = None) -> Any:
        query = "" if spec is None else f"?spec={quote(spec, safe='')}"
        return self.read(f"/v1/lots/{lot_id}/evaluation{query}")

    def decide(self, lot_id: str, meaning: str = "decided", reason: str = "as evaluated") -> Any:
        """Record the verdict as it stands now."""
        key = self.evaluation(lot_id)["provenance"]["evaluation_key"]
        body = {"meaning": meaning, "reason": reason}
        path = f"/v1/lots/{lot_id}/decisions"
        return _body(self.post(path, body, **{"If-Match": f'"{key}"'}), {200, 201})

    def _headers(self, extra: dict[str, str]) -> dict[str, str]:
        return {**self.headers, **extra}


@contextmanager
def running_service(
    folder: Path, *, clock: Clock = utc_now, **settings: Any
) -> Iterator[ServiceClient]:
    """
    The service on a data directory, for a caller who may do everything.

    Parameters
    ----------
    folder : Path
        Its data directory; what is in it already stays.
    clock : callable, optional, keyword only
        Gives the instants that are recorded.
    **settings
        Fields of `Settings`.
    """
    chosen = {"memory_limit": "300MB", "thread_count": 1, **settings}
    app = build_app(
        Settings(data_directory=folder, **chosen),
        open_workflows=lambda given: Application.open(given, clock=clock),
    )
    with TestClient(app) as http:
        # After the start: the folder is the service's to make.
        _, token = create_token(folder, name="Test bench", kind="SYSTEM", scopes=["admin"])
        yield ServiceClient(http, folder, token)


def _body(answer: Response, wanted: set[int]) -> Any:
    assert answer.status_code in wanted, f"{answer.status_code}: {answer.text}"
    return answer.json()
