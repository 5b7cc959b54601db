"""``lotproof validate``: a sound copy passes, a planted wrong constant does not."""

import os
import shutil
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from analysis.statistics import median_ranks
from service.cli import main
from service.errors import OperatorError
from service.signing import open_signing_key
from service.validation import command
from service.validation.command import Asked, validate
from service.validation.protocol import read_protocol
from service.validation.step_report import Compared

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """The steps that need a store told as passed; they have tests of their own."""
    passed = Compared(count=1, differences=[])
    monkeypatch.setattr(command, "compare_demo_lots", lambda folder, lots: passed)
    monkeypatch.setattr(command, "compare_evidence", lambda folder: passed)
    monkeypatch.setattr(command, "compare_backup", lambda folder: passed)


def test_the_protocol_says_what_was_run_when_and_by_whom(quick: None, tmp_path: Path) -> None:
    out = tmp_path / "protocol.json"
    told, path = validate(Asked(out=out, run_by="reviewer"), clock=lambda: NOON)
    assert path == out
    assert read_protocol(out, None) == told
    assert told.passed
    assert (told.started_at, told.run_by) == (NOON, "reviewer")
    assert told.key_origin == "made for this protocol"
    names = ["installed files", "published cases", "demo lots", "evidence pack", "backup"]
    assert [step.name for step in told.steps] == names
    assert {"numpy", "scipy", "duckdb", "cryptography"} <= told.libraries.keys()
    assert "analysis/decision/verdict.py" in {file.name for file in told.files}


def test_the_key_of_a_data_directory_signs(
    quick: None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    key = open_signing_key(tmp_path / "data").public
    out = tmp_path / "protocol.json"
    assert main(["validate", "--data", str(tmp_path / "data"), "--out", str(out)]) == 0
    assert "published cases: 134 compared, passed" in capsys.readouterr().out
    assert read_protocol(out, key.public_key).key_origin == "data directory"
    assert main(["validate", "--check", str(out), "--key", key.public_key]) == 0
    assert key.key_id in capsys.readouterr().out
    out.write_text(out.read_text().replace('"elapsed_s": ', '"elapsed_s": 1'))
    assert main(["validate", "--check", str(out), "--key", key.public_key]) == 1
    assert "does not belong" in capsys.readouterr().err


def test_without_a_name_for_the_file_it_holds_the_time(
    quick: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    _, path = validate(Asked(), clock=lambda: NOON)
    assert path == Path("lotproof-validation-20260504T120000Z.json")
    assert path.exists()


def test_a_wrong_constant_names_the_case_and_the_protocol_is_written_all_the_same(
    quick: None,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    answers = command.compare_cases.__globals__["METHODS"]
    plain = answers["success_run.sample_size"]

    def one_too_many(inputs: dict[str, object]) -> dict[str, object]:
        return {**plain(inputs), "n": plain(inputs)["n"] + 1}

    monkeypatch.setitem(answers, "success_run.sample_size", one_too_many)
    out = tmp_path / "protocol.json"
    assert main(["validate", "--out", str(out)]) == 1
    said = capsys.readouterr().err
    assert said == "lotproof: published cases: case P-a_success_run-001 n: 23 is not 22\n"
    assert not read_protocol(out, None).passed
    # The signature of a protocol that says "failed" is sound; the answer still is no.
    assert main(["validate", "--check", str(out)]) == 1


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (Asked(data=Path("/nowhere/at/all")), "no data directory"),
        (Asked(lots=["L99"]), "no demo lot"),
    ],
)
def test_what_cannot_be_run_is_refused_before_anything_is_run(asked: Asked, said: str) -> None:
    with pytest.raises(OperatorError, match=said):
        validate(asked)


def test_a_protocol_is_never_written_over_another(tmp_path: Path) -> None:
    (tmp_path / "protocol.json").touch()
    with pytest.raises(OperatorError, match="exists already"):
        validate(Asked(out=tmp_path / "protocol.json"))


@pytest.mark.slow
@pytest.mark.parametrize("is_planted", [False, True], ids=["sound", "planted"])
def test_a_copied_program_is_judged_by_its_own_files(
    is_planted: bool, repository: Path, tmp_path: Path
) -> None:
    """The whole command in a copy of the packages, once with a wrong constant in one file."""
    site = tmp_path / "site"
    for package in ("analysis", "schemas", "service"):
        unwanted = shutil.ignore_patterns("__pycache__")
        shutil.copytree(repository / package, site / package, ignore=unwanted)
    if is_planted:
        path = site / Path(median_ranks.__file__).relative_to(repository)
        text = path.read_text("utf-8")
        # Benard's approximation of a median rank.
        assert text.count("return (places - 0.3) / (total + 0.4)") == 1
        path.write_text(text.replace("(places - 0.3) / (", "(places - 0.31) / ("), "utf-8")
    run = [sys.executable, "-P", "-m", "service", "validate", "--lot", "L01", "--out", "p.json"]
    finished = subprocess.run(
        run,
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(site), "OPENBLAS_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    told = read_protocol(tmp_path / "p.json", None)
    assert told.installed_in == str(site.resolve())
    steps = {step.name: step for step in told.steps}
    if is_planted:
        assert finished.returncode == 1
        assert not steps["published cases"].passed
        assert "published cases: case P-" in finished.stderr
        assert "rank" in finished.stderr
    else:
        # Where the tests run from an installed wheel, a copy elsewhere is told apart from it.
        assert [name for name, step in steps.items() if not step.passed] in (
            [],
            ["installed files"],
        )
        assert finished.returncode == (0 if told.passed else 1), finished.stderr
