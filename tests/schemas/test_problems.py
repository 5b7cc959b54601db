"""The shape of an error answer."""

import msgspec

from schemas.problems import PROBLEM_TYPES, Problem, ProblemError


def test_only_the_fields_that_apply_are_sent() -> None:
    problem = Problem(
        type="/problems/not-found", title="T", status=404, detail="D", instance="/v1/x"
    )
    assert set(msgspec.to_builtins(problem)) == {"type", "title", "status", "detail", "instance"}
    error = ProblemError(code="C", detail="D", pointer="")
    # The empty pointer is the whole body and must not get lost.
    assert msgspec.to_builtins(error) == {"code": "C", "detail": "D", "pointer": ""}


def test_statuses_are_those_the_interface_uses() -> None:
    used = {kind.status for kind in PROBLEM_TYPES.values()}
    assert used == {400, 401, 403, 404, 405, 409, 412, 413, 415, 428, 429, 500, 503}


def test_slugs_are_lower_case_words_with_hyphens() -> None:
    assert all(slug.replace("-", "").isalpha() and slug.islower() for slug in PROBLEM_TYPES)
