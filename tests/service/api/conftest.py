"""The whole service with an empty store, one per test file."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from service_client import ServiceClient, running_service


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServiceClient]:
    with running_service(tmp_path_factory.mktemp("service") / "data") as client:
        yield client
