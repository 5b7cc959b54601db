"""Every example of the contract is sent to the service, and its answer is the one shown."""

from collections.abc import Iterator
from typing import Any

import pytest
from contract_examples import Replay, body_of, differences, examples, masked
from service_client import running_service
from stores import StandingClock

from service.api.contract import operations


@pytest.fixture(scope="module")
def replay(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Replay]:
    folder = tmp_path_factory.mktemp("examples") / "data"
    with running_service(folder, clock=StandingClock()) as client:
        yield Replay(client)


# In the order of the files: later ones speak of what earlier ones made.
@pytest.mark.parametrize("example", examples(), ids=lambda each: each["operation_id"])
def test_an_example_is_answered_as_shown(replay: Replay, example: dict[str, Any]) -> None:
    for request in example.get("before", []):
        assert replay.send(request).is_success
    answer = replay.send(example["request"])
    expected = example["response"]
    assert answer.status_code == expected["status"], answer.text
    found = masked(body_of(answer))
    assert differences(found, expected.get("body")) == []


def test_every_operation_has_an_example(tmp_path_factory: pytest.TempPathFactory) -> None:
    with running_service(tmp_path_factory.mktemp("operations") / "data") as client:
        served = {
            operation.handler.operation_id
            for operation in operations(client.http.app)
            if operation.path.startswith("/v1/")
        }
    shown = {example["operation_id"] for example in examples()}
    assert served - shown == {"read_contract"} & served
    assert shown <= served
