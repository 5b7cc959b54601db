"""Evidence and backup are checked for real: what should be refused is seen to be refused."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import anyio
import pytest
from decided_lots import prepared

from schemas.evidence_packs import PackReport
from service.demo.client import EvaluationSeen
from service.demo.lots import lot
from service.demo.verdict_table import LotSeen
from service.settings import Settings
from service.tokens import Actor
from service.validation import store_steps
from service.validation.step_report import step_of
from service.validation.store_steps import (
    compare_backup,
    compare_demo_lots,
    compare_evidence,
)
from service.workflows.application import Application


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    """A closed data directory with one lot of six units that all reached their target."""

    async def make() -> None:
        settings = Settings(data_directory=tmp_path / "data", memory_limit="200MB", thread_count=1)
        application = await Application.open(settings)
        actor = Actor(name="bench", kind="SYSTEM", scopes=frozenset({"admin"}))
        await prepared(application, actor, ran=6)
        await application.close()

    anyio.run(make)
    yield tmp_path


def test_a_sound_pack_verifies_and_a_changed_byte_in_any_part_is_refused(folder: Path) -> None:
    compared = compare_evidence(folder)
    assert compared.differences == []
    # The pack itself, and seven parts at least: six that every pack has, and the upload.
    assert compared.count >= 8
    assert "signature" in compared.notes[0]


def test_a_check_that_refuses_nothing_is_found_out(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def content(*given: object) -> PackReport:
        return PackReport(is_sound=True, checked=[], key_is_known=True)

    monkeypatch.setattr(store_steps, "verify_pack", content)
    compared = compare_evidence(folder)
    assert len(compared.differences) == compared.count - 1
    assert "a changed byte in evidence.json is accepted" in compared.differences


def test_a_pack_that_is_refused_as_it_is_is_a_difference(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def never(*given: object) -> PackReport:
        return PackReport(is_sound=False, checked=[], key_is_known=True, difference="other lives")

    monkeypatch.setattr(store_steps, "verify_pack", never)
    assert compare_evidence(folder).differences == ["the pack is refused: other lives"]


def test_a_copy_says_the_same_and_its_trail_goes_on_to_the_same_end(folder: Path) -> None:
    compare_evidence(folder)
    compared = compare_backup(folder)
    assert compared.differences == []
    assert compared.count > 10
    assert (folder / "restored" / "lotproof.duckdb").exists()


def test_a_copy_that_lacks_an_original_is_found_out(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def forgetful(source: Path, target: Path) -> None:
        shutil.copytree(source, target)
        original = next(path for path in (target / "originals").rglob("*") if path.is_file())
        original.unlink()

    monkeypatch.setattr(store_steps, "shutil", SimpleNamespace(copytree=forgetful))
    found = compare_backup(folder).differences
    assert any("audit trail of the copy" in each for each in found), found


def test_a_verdict_that_comes_out_differently_again_is_found_out(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import service.workflows.recheck as rechecking

    compare_evidence(folder)
    plain = rechecking.reduce_unit

    def other(*given: Any) -> Any:
        return rechecking.msgspec.structs.replace(plain(*given), credited_cycles=0)

    monkeypatch.setattr(rechecking, "reduce_unit", other)
    found = compare_backup(folder).differences
    assert found == ["the verdict on lot CC25-0117 is another when computed again"]


def test_without_a_verdict_to_sign_the_step_is_not_passed(tmp_path: Path) -> None:
    step = step_of("evidence pack", lambda: compare_evidence(tmp_path))
    assert not step.passed


def test_a_demo_lot_that_is_judged_otherwise_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = []

    def seen_lots(data: Path, files: Path, numbers: list[str]) -> list[LotSeen]:
        told.append((data, files, numbers))
        answer = EvaluationSeen(verdict="REJECT", reasons=[], robust_to_open_holds=False)
        return [LotSeen(facts=lot(number), evaluation=answer) for number in numbers]

    monkeypatch.setattr(store_steps, "seen_lots", seen_lots)
    compared = compare_demo_lots(tmp_path, ["L01"])
    assert told == [(tmp_path / "data", tmp_path / "files", ["L01"])]
    assert compared.differences[0] == "lot L01: verdict REJECT, not ACCEPT"
    assert (compared.count, compared.notes) == (1, ["scale 1/20, lots L01"])
