"""The demo tells a service everything in a shop's order and reports right or wrong."""

import argparse
import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from service.demo import command
from service.demo.command import run_demo
from service.tokens import list_tokens


@pytest.fixture
def demo(
    stub: tuple[Any, str],
    right_evaluations: dict[str, dict[str, Any]],
    right_evaluations_before: dict[str, dict[str, Any]],
    monkeypatch: pytest.MonkeyPatch,
) -> Any:
    """The stub in the place of the service; the real one is driven in the tests of the flow."""
    service, url = stub
    service.evaluations = right_evaluations
    service.earlier = right_evaluations_before

    @contextlib.contextmanager
    def running(app: object, listener: object) -> Iterator[str]:
        yield url

    monkeypatch.setattr(command, "running", running)
    monkeypatch.setattr(command, "bind", lambda host, port: None)
    monkeypatch.setattr(command, "build_app", lambda settings, demo_sign_in: None)
    return service


def options(data: Path | None) -> argparse.Namespace:
    return argparse.Namespace(data=data, once=True, host="127.0.0.1", port=0)


def test_right_verdicts_end_with_exit_code_0(
    demo: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run_demo(options(tmp_path / "data")) == 0
    told = capsys.readouterr()
    assert "SHOWN_BELOW_REQUIREMENT" in told.out and "no permission" in told.out
    assert "L06: 123," in told.err
    # The token that did it all is gone, and the folder stays for a later service.
    assert list_tokens(tmp_path / "data") == []


def test_a_wrong_verdict_ends_with_exit_code_1(
    demo: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    demo.evaluations["L01"]["verdict"] = "REJECT"
    assert run_demo(options(None)) == 1
    assert "L01: verdict REJECT, not ACCEPT" in capsys.readouterr().out


def test_the_sensor_is_found_out_after_everything_else_was_told(
    demo: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    run_demo(options(None))
    told = demo.paths.index("POST /v1/calibrations")
    assert demo.paths.count("POST /v1/calibrations") == 1
    assert demo.paths[told - 1] == "GET /v1/lots/lot_L05/evaluation"
    assert all(path.startswith("GET ") for path in demo.paths[told + 1 :])
    assert "L05 was ACCEPT" in capsys.readouterr().out


def test_a_lot_is_told_in_the_order_of_a_shop(demo: Any) -> None:
    run_demo(options(None))
    first_lot = demo.paths[: demo.paths.index("POST /v1/lots/lot_L02/units")]
    order = [
        "GET /readyz",
        "PUT /v1/rigs/RIG-A",
        "POST /v1/specs",
        "PUT /v1/specs/CC25-Q1/versions/1/approval",
        "POST /v1/lots",
        "POST /v1/lots/lot_L01/units",
        "POST /v1/lots/lot_L01/assignments",
        "POST /v1/rig-events",
        "POST /v1/inspections",
        "POST /v1/uploads",
    ]
    assert [first_lot.index(path) for path in order] == sorted(
        first_lot.index(path) for path in order
    )
    assert first_lot.count("POST /v1/uploads") == 4
    assert first_lot.count("POST /v1/inspections") == 12 * 8
    assert demo.paths[-1] == "GET /v1/lots/lot_L08/evaluation"
