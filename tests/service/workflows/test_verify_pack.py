"""A pack verifies with nothing but itself, and every change to it is named."""

import io
import zipfile
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest
from bodies import attribute_spec, lives_table, run_outs
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from lots_by_hand import FIRST_START, rows_table, run_rows
from stores import StandingClock

import service.workflows.verify_pack as verifying
from schemas.decisions import NewDecision
from schemas.lots import NewAssignment, NewLot
from schemas.specs import Spec, SpecApproval
from service.cli import main
from service.settings import Settings
from service.signing import SigningKey
from service.tokens import Actor
from service.workflows.application import Application
from service.workflows.verify_pack import verify_pack

pytestmark = pytest.mark.anyio
Change = Callable[[dict[str, Any]], None]


async def body_of(table: bytes) -> AsyncIterator[bytes]:
    yield table


_PACKED: list[tuple[bytes, str]] = []


@pytest.fixture
async def packed(tmp_path: Path, clock: StandingClock, actor: Actor) -> tuple[bytes, str]:
    """A pack with uploads of an accepted lot of rows and declared lives, and the public key."""
    if not _PACKED:  # made once: every test reads it, none changes it
        _PACKED.append(await make_pack(tmp_path, clock, actor))
    return _PACKED[0]


async def make_pack(tmp_path: Path, clock: StandingClock, actor: Actor) -> tuple[bytes, str]:
    """The pack itself."""
    settings = Settings(data_directory=tmp_path / "own", memory_limit="200MB", thread_count=1)
    application = await Application.open(settings, clock=clock)
    spec = attribute_spec()
    await application.specs.create(msgspec.convert(spec, Spec), actor)
    approval = SpecApproval(meaning="approved", reason="reviewed")
    await application.specs.approve(("CC25-A", 1), approval, actor, hash_seen=None)
    body = NewLot(lot_number="CC25-0117", part_number="CC25")
    lot, _ = await application.lots.register(body, actor)
    clock.now = FIRST_START.replace(year=2025)
    assignment = NewAssignment(spec_id="CC25-A", version=1, reason="as ordered")
    await application.lots.assign(lot.lot_id, assignment, actor)
    clock.now = FIRST_START.replace(month=12)
    planned = spec["plan"]["planned_cycles"]
    rows = run_rows("001", "R-1", [33.0] * planned)
    rows[-1]["stop_reason"] = "TARGET_REACHED"
    for table in (
        rows_table(rows),
        lives_table(run_outs("CC25-0117", [f"{number:03}" for number in range(2, 7)])),
    ):
        await application.uploads.take(body_of(table), actor, content_digest=None)
    key = (await application.evaluations.read(lot.lot_id, None)).provenance.evaluation_key
    made, _ = await application.decisions.record(
        lot.lot_id, NewDecision(meaning="accepted", reason="done"), actor, key_seen=key
    )
    path = await application.evidence_packs.make(made.decision_id, with_uploads=True)
    public = application.evidence_packs.keys().items[0].public_key
    content = path.read_bytes()
    await application.close()
    return content, public


def unpacked(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as pack:
        return {name: pack.read(name) for name in pack.namelist()}


def packed_again(parts: dict[str, bytes], path: Path) -> Path:
    with zipfile.ZipFile(path, "w") as pack:
        for name, content in parts.items():
            pack.writestr(name, content)
    return path


def signed_again(parts: dict[str, bytes], path: Path) -> Path:
    """What a forger with a key of his own would do: digests, list and signature made anew."""
    key = SigningKey(Ed25519PrivateKey.generate())
    manifest = msgspec.json.decode(parts["manifest.json"])
    manifest["signed_with"] = key.public.key_id
    manifest["parts"] = [
        msgspec.to_builtins(verifying.pack_files.part_of(part["name"], parts[part["name"]]))
        for part in manifest["parts"]
    ]
    listed = msgspec.json.encode(manifest)
    parts |= {
        "manifest.json": listed,
        "manifest.sig": key.sign(listed),
        "key.json": msgspec.json.encode(key.public),
    }
    return packed_again(parts, path)


def changed(parts: dict[str, bytes], name: str, change: Change) -> dict[str, bytes]:
    said = msgspec.json.decode(parts[name])
    change(said)
    return parts | {name: msgspec.json.encode(said)}


async def test_a_pack_is_sound_offline(packed: tuple[bytes, str], tmp_path: Path) -> None:
    content, public = packed
    path = tmp_path / "pack.zip"
    path.write_bytes(content)
    report = verify_pack(path, None)
    assert (report.is_sound, report.key_is_known) == (True, False), report.difference
    assert verify_pack(path, public).key_is_known
    assert report.checked[-3:] == ["figures and verdict", "uploaded files", "rows"]
    assert report.not_checked == []
    assert len([name for name in unpacked(content) if name.startswith("uploads/")]) == 2
    assert main(["evidence", "verify", str(path), "--key", public]) == 0
    assert main(["evidence", "verify", str(path), "--key", "AAAA"]) == 1


async def test_the_same_decision_gives_the_same_bytes(
    packed: tuple[bytes, str], tmp_path: Path
) -> None:
    with zipfile.ZipFile(io.BytesIO(packed[0])) as pack:
        assert {entry.date_time for entry in pack.infolist()} == {(1980, 1, 1, 0, 0, 0)}


async def test_every_changed_byte_is_found(packed: tuple[bytes, str], tmp_path: Path) -> None:
    parts = unpacked(packed[0])
    for name, content in parts.items():
        for place in (0, len(content) // 2, len(content) - 1):
            other = bytearray(content)
            other[place] ^= 1
            path = packed_again(parts | {name: bytes(other)}, tmp_path / "changed.zip")
            report = verify_pack(path, packed[1])
            assert not report.is_sound, (name, place)


async def test_a_part_that_is_missing_or_strange_is_named(
    packed: tuple[bytes, str], tmp_path: Path
) -> None:
    parts = unpacked(packed[0])
    for name in parts:
        fewer = {other: content for other, content in parts.items() if other != name}
        report = verify_pack(packed_again(fewer, tmp_path / "fewer.zip"), None)
        assert name in str(report.difference)
    more = verify_pack(packed_again(parts | {"other.txt": b""}, tmp_path / "more.zip"), None)
    assert more.difference == "The part other.txt is not on the list."


def _failure(said: dict[str, Any]) -> None:
    said["lives"][0]["outcome"]["failed"] = True


def _cycles(said: dict[str, Any]) -> None:
    rows = next(each for each in said["units"] if each["stretches"])
    rows["stretches"][0]["counted_cycles"] -= 1


def _spec_field(said: dict[str, Any]) -> None:
    said["spec"]["spec"]["requirement"][0]["reliability"] = 0.5


def _verdict(said: dict[str, Any]) -> None:
    said["verdict"] = "REJECT"


def _figure(said: dict[str, Any]) -> None:
    said["evaluation"]["requirements"][0]["attribute_at_target"]["reliability_upper"] = 0.99


def _version(said: dict[str, Any]) -> None:
    said["evaluation"]["provenance"]["method_version"] += 1


@pytest.mark.parametrize(
    ("name", "change", "said"),
    [
        ("evidence.json", _failure, "The life of unit 001"),
        ("evidence.json", _cycles, "The life of unit 001"),
        ("evidence.json", _spec_field, "The specification does not have the hash"),
        ("decision.json", _verdict, "The verdict recorded is not the one"),
        ("decision.json", _figure, "The evaluation's requirements does not follow"),
        ("decision.json", _version, "version 3 of the method"),
    ],
)
async def test_a_pack_that_was_changed_and_signed_anew_does_not_add_up(
    packed: tuple[bytes, str], tmp_path: Path, name: str, change: Change, said: str
) -> None:
    parts = changed(unpacked(packed[0]), name, change)
    path = signed_again(parts, tmp_path / "forged.zip")
    report = verify_pack(path, None)
    assert said in str(report.difference)
    known = verify_pack(path, packed[1])
    assert "another key" in str(known.difference)


async def test_summaries_that_do_not_follow_from_the_rows_are_named(
    packed: tuple[bytes, str], tmp_path: Path
) -> None:
    # A forger who leaves a file out of the evidence, or changes a figure that no life needs.
    def supply(said: dict[str, Any]) -> None:
        rows = next(each for each in said["units"] if each["stretches"])
        rows["stretches"][0]["last_cycle_counted"] = False

    parts = changed(unpacked(packed[0]), "evidence.json", supply)
    report = verify_pack(signed_again(parts, tmp_path / "forged.zip"), None)
    assert "do not give the summary" in str(report.difference)


async def test_without_the_files_rows_are_said_not_to_be_checked(
    packed: tuple[bytes, str], tmp_path: Path
) -> None:
    parts = {k: v for k, v in unpacked(packed[0]).items() if not k.startswith("uploads/")}
    manifest = msgspec.json.decode(parts["manifest.json"])
    manifest["parts"] = [e for e in manifest["parts"] if not e["name"].startswith("uploads/")]
    parts["manifest.json"] = msgspec.json.encode(manifest)
    report = verify_pack(signed_again(parts, tmp_path / "lean.zip"), None)
    assert report.is_sound
    assert report.not_checked == ["rows: the pack does not hold the uploaded files"]


async def test_a_changed_row_of_an_upload_is_named(
    packed: tuple[bytes, str], tmp_path: Path
) -> None:
    parts = unpacked(packed[0])
    upload = next(name for name in parts if name.startswith("uploads/"))
    path = signed_again(parts | {upload: parts[upload] + b"x"}, tmp_path / "forged.zip")
    assert upload in str(verify_pack(path, None).difference)


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04", b"no archive at all"])
async def test_what_is_no_pack_is_refused(content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "pack.zip"
    path.write_bytes(content)
    assert not verify_pack(path, None).is_sound


async def test_an_archive_bomb_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "bomb.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as pack:
        pack.writestr("key.json", b"0" * 50_000_000)
    assert "unpacks to more" in str(verify_pack(path, None).difference)
