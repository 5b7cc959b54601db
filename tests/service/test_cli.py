"""The command line, as an operator types it."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import httpx
import pytest

from service.cli import main
from service.tokens import TokenStore

# The real command with nothing behind it: what is tested here is the frame.
_PROGRAM = (
    "import sys, frame, service.app\n"
    "service.app._open_workflows = frame.open_nothing\n"
    "from service.cli import main\n"
    "sys.exit(main(sys.argv[1:]))\n"
)


def command(repository: Path, *arguments: str) -> subprocess.Popen[str]:
    environment = {**os.environ, "PYTHONPATH": f"{repository}:{repository / 'tests/support'}"}
    return subprocess.Popen(
        [sys.executable, "-c", _PROGRAM, *arguments],
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_serving_a_second_service_a_token_and_a_graceful_end(
    repository: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = str(tmp_path / "data")
    with command(repository, "serve", "--data", data, "--port", "0") as service:
        assert service.stderr is not None
        line = service.stderr.readline()
        match = re.search(r" at (http://127\.0\.0\.1:\d+)$", line.strip())
        assert match, line
        url = match[1]
        _wait_until_ready(url)
        with command(repository, "serve", "--data", data, "--port", "0") as second:
            _, complaint = second.communicate(timeout=30)
            assert second.returncode == 1
            assert "in use by another lotproof process" in complaint
            assert f"process id {service.pid}" in complaint
            assert "Traceback" not in complaint
        made = ["token", "create", "--data", data, "--name", "QS", "--scope", "lots.read"]
        assert main(made) == 0
        token = capsys.readouterr().out.strip()
        headers = {"Authorization": f"Bearer {token}"}
        # An unknown lot or an answer: in any case the token is known at once.
        assert httpx.get(f"{url}/v1/lots", headers=headers).status_code not in (401, 403)
        service.send_signal(signal.SIGTERM)
        assert service.wait(timeout=30) == 0


def test_a_token_is_printed_alone_listed_without_its_secret_and_revoked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = ["--data", str(tmp_path)]
    arguments = ["token", "create", *data, "--name", "Line 3", "--scope", "results.write"]
    assert main([*arguments, "--scope", "lots.read", "--kind", "person"]) == 0
    printed = capsys.readouterr()
    text = printed.out.removesuffix("\n")
    assert re.fullmatch(r"lotproof_[A-Za-z0-9_-]{43}", text)
    assert printed.err == ""
    assert TokenStore(tmp_path).find(text) is not None

    assert main(["token", "list", *data]) == 0
    listed = capsys.readouterr().out
    token_id, _, kind, scopes, name = listed.rstrip("\n").split("\t")
    assert (kind, scopes, name) == ("PERSON", "lots.read,results.write", "Line 3")
    assert text not in listed

    assert main(["token", "revoke", *data, token_id]) == 0
    assert TokenStore(tmp_path).find(text) is None
    assert main(["token", "revoke", *data, token_id]) == 1


def test_wrong_usage_ends_with_two_and_a_reason(capsys: pytest.CaptureFixture[str]) -> None:
    for arguments in (
        [],
        ["serve", "--data", "x", "--port", "70000"],
        ["token", "create", "--data", "x", "--name", "n", "--scope", "lots.delete"],
    ):
        with pytest.raises(SystemExit) as end:
            main(arguments)
        assert end.value.code == 2
        assert "usage: lotproof" in capsys.readouterr().err


def test_serving_without_a_data_directory_is_refused(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("LOTPROOF_DATA_DIRECTORY", raising=False)
    assert main(["serve"]) == 1
    assert "--data DIR" in capsys.readouterr().err


def test_the_help_of_serve_lists_every_setting(capsys: pytest.CaptureFixture[str]) -> None:
    from service.settings import environment_variables

    with pytest.raises(SystemExit):
        main(["serve", "--help"])
    shown = capsys.readouterr().out
    assert all(name in shown for name in environment_variables())


def test_a_refused_option_of_generate_is_told_without_a_traceback(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ["generate", "--lot", "L01", "--scale", "0", "--out", str(tmp_path / "out")]
    assert main(arguments) == 1
    assert capsys.readouterr().err.startswith("lotproof: scale must be")


def test_making_a_token_loads_no_server_and_no_table_library(repository: Path) -> None:
    program = (
        "import sys\n"
        "from service.cli import main\n"
        "assert main(['token', 'list', '--data', 'absent']) == 0\n"
        "slow = ['duckdb', 'litestar', 'numpy', 'pyarrow', 'uvicorn']\n"
        "print([name for name in slow if name in sys.modules])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=repository, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


def test_the_contract_is_written_and_checked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "openapi" / "openapi.json"
    assert main(["export-openapi", "--out", str(out), "--check"]) == 1
    assert main(["export-openapi", "--out", str(out)]) == 0
    assert main(["export-openapi", "--out", str(out), "--check"]) == 0
    out.write_text(out.read_text(encoding="utf-8") + " ", encoding="utf-8")
    assert main(["export-openapi", "--out", str(out), "--check"]) == 1
    assert "run lotproof export-openapi" in capsys.readouterr().err


def _wait_until_ready(url: str) -> None:
    limit = time.monotonic() + 30
    while time.monotonic() < limit:
        try:
            if httpx.get(f"{url}/readyz").status_code == 200:
                return
        except httpx.TransportError:
            pass
        time.sleep(0.05)
    pytest.fail("the service did not become ready")
