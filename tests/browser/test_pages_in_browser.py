"""The pages as a real browser lays them out: narrow, dark, on paper, and without any script."""

import re
import subprocess
from pathlib import Path

import page_examples as examples
import pytest
from bodies import failed, lives_table, run_outs
from html_checks import ids_of, read_page
from service_client import running_service

from service.pages import views

pytestmark = pytest.mark.browser

QUIET = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
MEASURE = (
    "<script>document.body.setAttribute('data-measured', ["
    "document.documentElement.scrollWidth, document.documentElement.clientWidth,"
    "getComputedStyle(document.body).backgroundColor].join(';'))</script></body>"
)
"""Put into copies only: the pages themselves hold no script."""


def run(browser: str, folder: Path, *options: str) -> str:
    """Start the browser once with a new profile and give what it prints."""
    command = [browser, *QUIET, f"--user-data-dir={folder / 'profile'}", *options]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 0, done.stderr
    return done.stdout


def save(html: str, folder: Path) -> str:
    """Page and stylesheet as files; gives the address of the page."""
    (folder / "style.css").write_bytes(views.stylesheet())
    page = folder / "page.html"
    page.write_text(html.replace('href="/static/style.css"', 'href="style.css"'), "utf-8")
    return page.as_uri()


def lot_page(name: str) -> str:
    evaluation = examples.every_kind()[name]
    return views.render_lot(
        evaluation,
        lot=examples.lot(evaluation.lot_number),
        decisions=[examples.decision(evaluation)],
        spec=examples.spec_version(),
        pressure_unit="bar",
    )


def measured(dom: str) -> tuple[int, int, str]:
    """Width of the content, width of the window, colour of the ground."""
    found = re.search(r'data-measured="(\d+);(\d+);([^"]+)"', dom)
    assert found is not None, dom[:400]
    return int(found[1]), int(found[2]), found[3]


def test_the_browser_reads_the_page_as_it_was_written(browser: str, tmp_path: Path) -> None:
    html = lot_page("shown-below")
    dom = run(browser, tmp_path, "--dump-dom", save(html, tmp_path))
    assert re.findall(r'\sid="([^"]+)"', dom) == ids_of(read_page(html))
    assert "failed between 59,120 and 88,940" in dom
    assert "<script" not in dom


@pytest.mark.parametrize("name", ["shown-below", "held"])
def test_a_narrow_page_scrolls_its_tables_and_not_itself(
    name: str, browser: str, tmp_path: Path
) -> None:
    address = save(lot_page(name).replace("</body>", MEASURE), tmp_path)
    dom = run(browser, tmp_path, "--window-size=400,900", "--dump-dom", address)
    content, window, _ = measured(dom)
    assert window <= 500
    assert content <= window


def test_the_page_of_fits_fits_a_narrow_window(browser: str, tmp_path: Path) -> None:
    lives = [failed("LOT-1", "001", 49_576), failed("LOT-1", "002", 70_159)]
    with running_service(tmp_path / "data") as client:
        client.upload(lives_table([*lives, *run_outs("LOT-1", ["003", "004"], 71_733)]))
        [lot] = client.read("/v1/lots?lot_number=LOT-1")["items"]
        path = f"/lots/{lot['lot_id']}/fits?confidence=0.9&at_cycles=60000"
        html = client.get(path, Accept="text/html").text
    address = save(html.replace("</body>", MEASURE), tmp_path)
    content, window, _ = measured(
        run(browser, tmp_path, "--window-size=400,900", "--dump-dom", address)
    )
    assert window <= 500
    assert content <= window


def test_the_page_is_dark_where_the_reader_asks_for_it(browser: str, tmp_path: Path) -> None:
    address = save(lot_page("accepted").replace("</body>", MEASURE), tmp_path)
    light = measured(run(browser, tmp_path, "--dump-dom", address))[2]
    dark = measured(
        run(browser, tmp_path, "--blink-settings=preferredColorScheme=0", "--dump-dom", address)
    )[2]
    assert light == "rgb(253, 252, 248)"
    assert dark == "rgb(21, 24, 29)"


def test_the_page_prints_on_a4(browser: str, tmp_path: Path) -> None:
    target = tmp_path / "page.pdf"
    address = save(lot_page("not-demonstrated"), tmp_path)
    run(browser, tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={target}", address)
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", target.read_bytes())
    assert 1 <= len(boxes) <= 6
    # A4 is 210 mm x 297 mm; a point is 1/72 inch.
    for width, height in boxes:
        assert float(width) == pytest.approx(210 / 25.4 * 72, abs=1)
        assert float(height) == pytest.approx(297 / 25.4 * 72, abs=1)


def test_a_screenshot_of_the_list_can_be_taken(browser: str, tmp_path: Path) -> None:
    entries = [
        views.LotEntry(lot=examples.lot(each.lot_number), evaluation=each)
        for each in examples.every_kind().values()
    ]
    address = save(views.render_lots(entries, pressure_unit="mpa"), tmp_path)
    target = tmp_path / "list.png"
    run(browser, tmp_path, "--window-size=1000,1400", f"--screenshot={target}", address)
    picture = target.read_bytes()
    assert picture.startswith(b"\x89PNG")
    # A blank page of this size is far smaller.
    assert len(picture) > 40_000
