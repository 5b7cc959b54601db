"""Entity tags, after RFC 9110 sections 8.8.3, 13.1.1 and 13.1.2 (from memory)."""

import pytest

from service.api.etag import etag, is_current, key_seen
from service.errors import InvalidRequest, PreconditionRequired

KEY = "sha256:0f1e"


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        (None, False),
        ("", False),
        ("*", True),
        (' "sha256:0f1e" ', True),
        ('W/"sha256:0f1e"', True),  # If-None-Match compares weakly
        ('"x", "sha256:0f1e"', True),
        ('"x,y", W/"z"', False),
        ("sha256:0f1e", False),
        ('"sha256:0F1E"', False),
    ],
)
def test_a_reader_is_current_only_with_the_same_tag(header: str | None, expected: bool) -> None:
    assert is_current(header, KEY) is expected


def test_the_tag_that_was_sent_is_the_key_that_was_seen() -> None:
    assert key_seen(etag(KEY)) == KEY


@pytest.mark.parametrize("header", [None, "", "  "])
def test_a_missing_if_match_is_required(header: str | None) -> None:
    with pytest.raises(PreconditionRequired):
        key_seen(header)


@pytest.mark.parametrize("header", ["*", "sha256:0f1e", 'W/"sha256:0f1e"', '"a", "b"', '"a'])
def test_anything_but_one_strong_tag_is_refused(header: str) -> None:
    with pytest.raises(InvalidRequest):
        key_seen(header)
