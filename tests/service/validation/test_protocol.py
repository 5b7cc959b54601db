"""A protocol is signed as it stands in its file; a changed one is refused."""

import base64
from datetime import UTC, datetime
from pathlib import Path

import msgspec
import pytest

from schemas.validations import PROTOCOL_FORM, ValidationProtocol, ValidationStep
from service.errors import OperatorError
from service.signing import SigningKey, open_signing_key
from service.validation.protocol import fresh_key, read_protocol, write_protocol

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)


def a_protocol(key: SigningKey) -> ValidationProtocol:
    return ValidationProtocol(
        form=PROTOCOL_FORM,
        version=1,
        passed=True,
        started_at=NOON,
        ended_at=NOON,
        software="lotproof 0.1.0",
        method_version=2,
        reduction_version=3,
        python="3.11",
        platform="Linux",
        libraries={"numpy": "2.4.6"},
        installed_in="/opt/lotproof",
        signed_with=key.public.key_id,
        key_origin="data directory",
        steps=[
            ValidationStep(
                name="backup", passed=True, compared_count=1, differing_count=0, elapsed_s=0.1
            )
        ],
        files_sha256="00",
        files=[],
        run_by="reviewer",
    )


@pytest.fixture
def key(tmp_path: Path) -> SigningKey:
    return open_signing_key(tmp_path / "data")


@pytest.fixture
def file(tmp_path: Path, key: SigningKey) -> Path:
    path = tmp_path / "protocol.json"
    write_protocol(path, a_protocol(key), key)
    return path


def test_what_was_written_is_read_and_the_key_may_be_known(file: Path, key: SigningKey) -> None:
    assert read_protocol(file, None) == a_protocol(key)
    assert read_protocol(file, key.public.public_key) == a_protocol(key)


def test_a_changed_number_in_the_protocol_is_refused(file: Path) -> None:
    text = file.read_text()
    assert text.count('"compared_count": 1') == 1
    file.write_text(text.replace('"compared_count": 1', '"compared_count": 9'))
    with pytest.raises(OperatorError, match="does not belong"):
        read_protocol(file, None)


def test_a_changed_space_in_the_protocol_is_refused(file: Path) -> None:
    file.write_text(file.read_text().replace('"passed": true', '"passed":  true', 1))
    with pytest.raises(OperatorError, match="does not belong"):
        read_protocol(file, None)


def test_a_protocol_signed_anew_is_refused_by_whoever_knows_the_key(
    tmp_path: Path, key: SigningKey
) -> None:
    other = fresh_key()
    path = tmp_path / "forged.json"
    write_protocol(path, a_protocol(other), other)
    assert read_protocol(path, None).passed
    with pytest.raises(OperatorError, match="another key"):
        read_protocol(path, key.public.public_key)


def test_a_protocol_that_names_another_key_than_its_own_is_refused(
    tmp_path: Path, key: SigningKey
) -> None:
    path = tmp_path / "forged.json"
    write_protocol(path, a_protocol(key), fresh_key())
    with pytest.raises(OperatorError, match="names another key"):
        read_protocol(path, None)


def test_a_key_under_a_false_id_is_refused(file: Path, key: SigningKey) -> None:
    text = file.read_text()
    stated = f'"key_id":"{key.public.key_id}"'
    assert text.count(stated) == 1
    file.write_text(text.replace(stated, f'"key_id":"{"0" * 16}"'))
    with pytest.raises(OperatorError, match="does not belong"):
        read_protocol(file, None)


@pytest.mark.parametrize(
    "content", [b"", b"{}", b'{"protocol": {}, "key": {}, "signature": "x", "more": 1}']
)
def test_another_file_is_no_protocol(content: bytes, file: Path) -> None:
    file.write_bytes(content)
    with pytest.raises(OperatorError, match="no validation protocol"):
        read_protocol(file, None)


def test_a_signature_that_is_no_base64_is_no_protocol(file: Path) -> None:
    said = msgspec.json.decode(file.read_bytes())
    said["signature"] = "***"
    file.write_bytes(msgspec.json.encode(said))
    with pytest.raises(OperatorError, match="no validation protocol"):
        read_protocol(file, None)


def test_a_file_is_never_written_over(file: Path, key: SigningKey) -> None:
    before = file.read_bytes()
    with pytest.raises(OperatorError, match="cannot be written"):
        write_protocol(file, a_protocol(key), key)
    assert file.read_bytes() == before


def test_a_missing_file_is_told_plainly(tmp_path: Path) -> None:
    with pytest.raises(OperatorError, match="cannot be read"):
        read_protocol(tmp_path / "none.json", None)


def test_signature_is_64_bytes_over_the_protocol_text(file: Path) -> None:
    said = msgspec.json.decode(file.read_bytes())
    assert len(base64.b64decode(said["signature"])) == 64
