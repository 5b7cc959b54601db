"""An attachment begins as files of its type do."""

from pathlib import Path

import pytest

from service.errors import InvalidRequest, UploadRefused
from service.intake.media_types import check_media_type

# First bytes of each kind of file as their own standards give them, from memory.
GENUINE = {
    "application/pdf": b"%PDF-1.7\n%\xe2\xe3\xcf\xd3",
    "image/png": b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR",
    "image/jpeg": b"\xff\xd8\xff\xe0\x00\x10JFIF",
    "text/plain": "seal lip worn, 25 µm".encode(),
    "text/csv": b"cycle,decay_mpa\n1,0.06\n",
}


def file(folder: Path, content: bytes) -> Path:
    path = folder / "file"
    path.write_bytes(content)
    return path


@pytest.mark.parametrize("media_type", GENUINE)
def test_a_file_of_its_type_is_taken(tmp_path: Path, media_type: str) -> None:
    check_media_type(file(tmp_path, GENUINE[media_type]), media_type)


@pytest.mark.parametrize("media_type", GENUINE)
def test_a_page_with_a_script_is_no_picture_and_no_document(
    tmp_path: Path, media_type: str
) -> None:
    path = file(tmp_path, b"<html><script>alert(1)</script>")
    if media_type.startswith("text/"):
        check_media_type(path, media_type)  # a text like any other: never shown as a page
        return
    with pytest.raises(UploadRefused, match="no " + media_type) as refusal:
        check_media_type(path, media_type)
    assert refusal.value.kind == "unsupported-media-type"
    assert [fault.code for fault in refusal.value.errors] == ["MEDIA_TYPE"]


@pytest.mark.parametrize("content", [b"a\0b", b"\xff\xfe\x41\x00", b"caf\xe9", b"cut off \xc3"])
def test_a_text_is_utf_8_to_its_last_byte(tmp_path: Path, content: bytes) -> None:
    with pytest.raises(UploadRefused, match="UTF-8"):
        check_media_type(file(tmp_path, content), "text/plain")


def test_a_sign_cut_by_the_block_it_lies_across_is_still_one_sign(tmp_path: Path) -> None:
    check_media_type(file(tmp_path, b"x" * (1024 * 1024 - 1) + "µ".encode()), "text/plain")


@pytest.mark.parametrize("media_type", GENUINE)
def test_an_empty_body_is_no_attachment(tmp_path: Path, media_type: str) -> None:
    with pytest.raises(InvalidRequest, match="empty"):
        check_media_type(file(tmp_path, b""), media_type)
