"""The lists of routes."""

from frame import frame

from service.api.routes import OWN


def test_the_frame_answers_health_documentation_problems_and_signing_in(tmp_path) -> None:  # type: ignore[no-untyped-def]
    paths = {route.path for route in frame(tmp_path).routes}
    assert {
        "/healthz", "/readyz", "/v1/openapi.json", "/docs", "/docs/docs.css", "/problems",
        "/problems/{slug:str}", "/sign-in", "/sign-out",
    } <= paths  # fmt: skip
    assert len(OWN) == len(set(map(id, OWN)))
