"""Bearer tokens on disk and in memory."""

import stat
import time
from pathlib import Path

import msgspec
import pytest

from service.tokens import TokenStore, create_token, list_tokens, revoke_token


def test_the_text_of_a_token_is_nowhere_on_disk(tmp_path: Path) -> None:
    _, text = create_token(tmp_path, name="Bench", kind="SYSTEM", scopes=["lots.read"])
    secret = text.removeprefix("lotproof_")
    assert all(secret.encode() not in f.read_bytes() for f in tmp_path.rglob("*") if f.is_file())


def test_a_token_file_is_readable_by_its_owner_only(tmp_path: Path) -> None:
    token, _ = create_token(tmp_path, name="Bench", kind="SYSTEM", scopes=["lots.read"])
    file = tmp_path / "tokens" / f"{token.token_id}.json"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert [f.name for f in file.parent.iterdir()] == [file.name]


def test_a_token_is_found_by_its_text_and_by_nothing_else(tmp_path: Path) -> None:
    made, text = create_token(tmp_path, name="Bench", kind="PERSON", scopes=["lots.read"])
    store = TokenStore(tmp_path)
    assert store.find(text) == made
    assert store.find(text[:-1]) is None
    assert store.find(made.secret_sha256) is None
    assert store.find("") is None


def test_tokens_made_and_revoked_while_the_service_runs_count_soon(tmp_path: Path) -> None:
    store = TokenStore(tmp_path)
    assert store.find("lotproof_x") is None
    for _ in range(3):
        token, text = create_token(tmp_path, name="Bench", kind="SYSTEM", scopes=["admin"])
        assert _soon(lambda text=text: store.find(text) is not None)
        assert revoke_token(tmp_path, token.token_id)
        assert _soon(lambda text=text: store.find(text) is None)


def test_a_broken_token_file_allows_nobody_anything_and_harms_no_other(tmp_path: Path) -> None:
    _, text = create_token(tmp_path, name="Bench", kind="SYSTEM", scopes=["lots.read"])
    (tmp_path / "tokens" / "tok_broken.json").write_text('{"name": "half')
    (tmp_path / "tokens" / "tok_other.json").write_text('{"name": "x", "scopes": ["root"]}')
    assert TokenStore(tmp_path).find(text) is not None
    assert len(list_tokens(tmp_path)) == 1


def test_admin_implies_every_scope_and_no_other_scope_implies_admin(tmp_path: Path) -> None:
    admin, _ = create_token(tmp_path, name="A", kind="PERSON", scopes=["admin"])
    reader, _ = create_token(tmp_path, name="B", kind="PERSON", scopes=["lots.read"])
    assert admin.actor().may("decisions.sign")
    assert reader.actor().may("lots.read")
    assert not reader.actor().may("admin")
    assert not reader.actor().may("lots.write")


@pytest.mark.parametrize("scopes", [[], ["lots.delete"]])
def test_a_token_without_a_known_scope_is_refused(tmp_path: Path, scopes: list[str]) -> None:
    with pytest.raises((msgspec.ValidationError, ValueError)):
        create_token(tmp_path, name="Bench", kind="SYSTEM", scopes=scopes)  # type: ignore[arg-type]


def test_a_token_without_a_name_is_refused(tmp_path: Path) -> None:
    with pytest.raises(msgspec.ValidationError):
        create_token(tmp_path, name="", kind="SYSTEM", scopes=["lots.read"])


def test_revoking_takes_the_id_of_a_token_and_no_path(tmp_path: Path) -> None:
    (tmp_path / "kept.json").write_text("{}")
    (tmp_path / "tokens").mkdir()
    assert not revoke_token(tmp_path, "../kept")
    assert (tmp_path / "kept.json").exists()


def _soon(holds) -> bool:  # type: ignore[no-untyped-def]
    """Whether something holds within two seconds."""
    limit = time.monotonic() + 2.0
    while time.monotonic() < limit:
        if holds():
            return True
        time.sleep(0.02)
    return False
