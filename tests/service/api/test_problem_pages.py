"""Where the `type` of a problem leads."""

from pathlib import Path

from frame import frame
from litestar.testing import TestClient

from schemas.problems import PROBLEM_TYPES


def test_every_kind_of_problem_has_a_page_with_its_remedy(tmp_path: Path) -> None:
    with TestClient(frame(tmp_path)) as client:
        overview = client.get("/problems").text
        for slug, kind in PROBLEM_TYPES.items():
            page = client.get(f"/problems/{slug}")
            assert page.status_code == 200
            assert kind.title.split("'")[0] in page.text
            assert f'href="/problems/{slug}"' in overview
        assert client.get("/problems/unheard-of").status_code == 404
