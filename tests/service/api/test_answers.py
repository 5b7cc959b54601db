"""Answers beyond a body."""

from service.api.answers import address, made, repeat_of, tagged, unchanged


def test_something_new_is_created_and_a_repeat_is_not() -> None:
    new = made({"a": 1}, is_new=True, location="/v1/a/1")
    repeat = made({"a": 1}, is_new=False, location="/v1/a/1")
    assert (new.status_code, repeat.status_code) == (201, 200)
    assert new.headers["Location"] == repeat.headers["Location"] == "/v1/a/1"


def test_an_answer_carries_its_tag_and_is_left_out_for_whoever_has_it() -> None:
    full = tagged({"a": 1}, "sha256:1", '"sha256:0"')
    assert (full.status_code, full.headers["ETag"]) == (None, '"sha256:1"')
    known = tagged({"a": 1}, "sha256:1", '"sha256:1"')
    assert (known.status_code, known.content, known.headers["ETag"]) == (304, None, '"sha256:1"')


def test_every_part_of_an_address_is_escaped() -> None:
    assert address("rigs", "RIG A/2") == "/v1/rigs/RIG%20A%2F2"
    assert address("specs", "CC25:Q1", "versions", 3) == "/v1/specs/CC25%3AQ1/versions/3"


def test_further_statuses_are_described() -> None:
    assert list(repeat_of(dict)) == [200]
    assert list(unchanged()) == [304]
