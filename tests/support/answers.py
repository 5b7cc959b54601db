"""What tests say about answers."""

from __future__ import annotations

from typing import Any

from httpx import Response


def problem(answer: Response, status: int, slug: str) -> Any:
    """Body of an error answer, after a look at its shape."""
    assert answer.status_code == status, f"{answer.status_code}: {answer.text}"
    assert answer.headers["content-type"] == "application/problem+json"
    body = answer.json()
    assert body["type"] == f"/problems/{slug}"
    assert body["status"] == status
    return body


def codes(answer: Response) -> list[str]:
    """Codes of the single faults of an error answer."""
    return [error["code"] for error in answer.json().get("errors", [])]


def pointers(answer: Response) -> list[str | None]:
    """Places of the single faults of an error answer."""
    return [error.get("pointer") for error in answer.json().get("errors", [])]
