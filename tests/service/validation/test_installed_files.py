"""The files of a copy are compared with the list that its wheel brought."""

import base64
import hashlib
from importlib import metadata
from pathlib import Path

import pytest

from service.validation import installed_files
from service.validation.installed_files import (
    compare_files,
    digest_of_all,
    digests_of,
    installed_root,
)

FILES = {
    "analysis/__init__.py": "",
    "analysis/rule.py": "LIMIT = 0.1\n",
    "schemas/__init__.py": "",
    "service/__init__.py": "",
    "service/storage/rows.sql": "SELECT 1",
}


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder as an installer of wheels leaves it, its list written by hand."""
    lines = []
    for name, text in FILES.items():
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
        raw = hashlib.sha256(text.encode()).digest()
        digest = base64.urlsafe_b64encode(raw).rstrip(b"=").decode()
        lines.append(f"{name},sha256={digest},{len(text)}\n")
    about = tmp_path / "lotproof-0.1.0.dist-info"
    about.mkdir()
    compiled = "analysis/__pycache__/rule.cpython-311.pyc,,\n"
    (about / "RECORD").write_text("".join([*lines, compiled, f"{about.name}/RECORD,,\n"]))
    monkeypatch.setattr(
        installed_files.metadata, "distribution", lambda name: metadata.PathDistribution(about)
    )
    return tmp_path.resolve()


def _found(site: Path) -> list[str]:
    return compare_files(site, digests_of(site)).differences


def test_the_files_of_the_wheel_are_the_same(site: Path) -> None:
    compared = compare_files(site, digests_of(site))
    assert (compared.count, compared.differences) == (5, [])


def test_what_python_compiles_is_no_file_of_ours(site: Path) -> None:
    (site / "analysis" / "__pycache__").mkdir()
    (site / "analysis" / "__pycache__" / "rule.cpython-311.pyc").write_bytes(b"\0")
    assert _found(site) == []


def test_a_changed_a_missing_and_a_strange_file_are_named(site: Path) -> None:
    (site / "analysis/rule.py").write_text("LIMIT = 0.2\n")
    (site / "service/storage/rows.sql").unlink()
    (site / "service/more.py").write_text("")
    assert _found(site) == [
        "analysis/rule.py is not the file that was installed",
        "service/more.py is not on the list of the wheel",
        "service/storage/rows.sql is missing",
    ]


def test_a_program_that_runs_from_elsewhere_is_not_the_installed_one(
    site: Path, tmp_path: Path
) -> None:
    [said] = compare_files(tmp_path / "other", digests_of(site)).differences
    assert said.startswith("the program runs from ")


@pytest.mark.parametrize("record", ["_lotproof.pth,sha256=AA,3\n", None])
def test_without_a_wheel_nothing_is_compared_and_that_is_said(
    record: str | None, site: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if record is None:

        def none_there(name: str) -> None:
            raise metadata.PackageNotFoundError(name)

        monkeypatch.setattr(installed_files.metadata, "distribution", none_there)
    else:
        (site / "lotproof-0.1.0.dist-info" / "RECORD").write_text(record)
    compared = compare_files(site, digests_of(site))
    assert (compared.count, compared.may_be_empty, compared.differences) == (0, True, [])
    assert "no wheel" in compared.notes[0]


def test_one_digest_tells_any_change(site: Path) -> None:
    before = digest_of_all(digests_of(site))
    assert digest_of_all(digests_of(site)) == before
    (site / "analysis/rule.py").write_text("LIMIT = 0.2\n")
    assert digest_of_all(digests_of(site)) != before


def test_the_copy_under_test_is_this_checkout(repository: Path) -> None:
    assert installed_root() == repository.resolve()
    assert "service/validation/cases.json" in {each.name for each in digests_of(repository)}
