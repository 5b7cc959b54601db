"""Pages are well-formed, self-contained, readable by anybody, and say what they must."""

import itertools
import re

import page_examples as examples
import pytest
from html_checks import addresses_in, heading_levels, ids_of, read_page
from msgspec import UNSET, structs

from schemas.decisions import Evaluation, Reason
from service.pages import views, wording
from service.pages.units import PRESSURE_UNIT_LABELS, PressureUnit

NEVER = re.compile(
    r"%\s*reliable|\bprobability\b|certified|\bsafe\b|\bguaranteed?\b|\bproven\b", re.IGNORECASE
)


def lot_page(evaluation: Evaluation, *, unit: PressureUnit = "mpa", decided: bool = False) -> str:
    has_spec = evaluation.spec is not UNSET
    return views.render_lot(
        evaluation,
        lot=examples.lot(evaluation.lot_number),
        decisions=[examples.decision(evaluation, outdated=True)] if decided else [],
        spec=examples.spec_version() if has_spec else None,
        pressure_unit=unit,
    )


def with_decided_items() -> Evaluation:
    return structs.replace(examples.accepted(), decided_holds=examples.decided_holds())


def list_page(*, next_page: str | None = None) -> str:
    entries = [
        views.LotEntry(
            lot=examples.lot(each.lot_number),
            evaluation=each,
            decision=examples.decision(each) if each.verdict == "ACCEPT" else None,
        )
        for each in examples.every_kind().values()
    ]
    return views.render_lots(entries, pressure_unit="mpa", next_page=next_page)


def unit_page(*, unit: PressureUnit = "mpa") -> str:
    life = structs.replace(examples.unit_life(), holds=examples.holds())
    return views.render_unit(
        life, lot_id="lot_l02", spec=examples.spec_version(), pressure_unit=unit
    )


def all_pages() -> dict[str, str]:
    pages = {name: lot_page(each) for name, each in examples.every_kind().items()}
    return {
        **pages,
        "decided": lot_page(examples.accepted(), decided=True),
        "decided items": lot_page(with_decided_items()),
        "list": list_page(),
        "empty list": views.render_lots([], pressure_unit="mpa"),
        "unit": unit_page(),
    }


PAGES = all_pages()


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_well_formed_and_its_ids_are_unique(name: str) -> None:
    ids = ids_of(read_page(PAGES[name]))
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("name", PAGES)
def test_a_page_loads_nothing_from_outside_and_runs_nothing(name: str) -> None:
    page = read_page(PAGES[name])
    assert [a for a in addresses_in(page) if not re.match(r"[/#]|data:,$", a)] == []
    assert [a for a in addresses_in(page) if a.startswith("//")] == []
    assert "http" not in PAGES[name].lower()
    assert page.find("script") == []
    attributes = {key for element in page.walk() for key in element.attributes}
    assert [key for key in attributes if key.startswith("on") or key == "style"] == []


@pytest.mark.parametrize("name", PAGES)
def test_what_a_page_points_at_inside_itself_is_there(name: str) -> None:
    page = read_page(PAGES[name])
    ids = set(ids_of(page))
    for element in page.walk():
        for key in ("aria-labelledby", "aria-describedby", "for"):
            assert set(element.attributes.get(key, "").split()) <= ids
    targets = {a[1:] for a in addresses_in(page) if a.startswith("#")}
    assert targets <= ids
    assert {"content", "safety"} <= targets


@pytest.mark.parametrize("name", PAGES)
def test_headings_start_at_one_and_skip_no_level(name: str) -> None:
    levels = heading_levels(read_page(PAGES[name]))
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))


@pytest.mark.parametrize("name", PAGES)
def test_every_table_has_a_caption_and_every_header_a_scope(name: str) -> None:
    page = read_page(PAGES[name])
    for table in page.find("table"):
        assert table.find("caption")[0].text()
        assert {cell.attributes.get("scope") for cell in table.find("th")} <= {"col", "row"}
        widths = {row_width(row) for row in table.find("tr")}
        assert len(widths) == 1, f"rows of unequal width: {table.find('caption')[0].text()}"


@pytest.mark.parametrize("name", PAGES)
def test_a_page_names_its_language_and_can_be_skipped_into(name: str) -> None:
    page = read_page(PAGES[name])
    assert page.find("html")[0].attributes["lang"] == "en"
    assert page.find("title")[0].text().endswith("– lotproof")
    first_link = page.find("a")[0]
    assert first_link.attributes == {"class": "skip", "href": "#content"}
    assert page.find("main")[0].attributes["id"] == "content"


@pytest.mark.parametrize("name", PAGES)
def test_a_region_that_scrolls_can_be_reached_by_keyboard(name: str) -> None:
    for region in read_page(PAGES[name]).find("div", style="scroll"):
        assert region.attributes["tabindex"] == "0"
        assert region.attributes["role"] == "region"
        assert region.attributes["aria-label"]


@pytest.mark.parametrize("name", PAGES)
def test_no_page_says_what_must_never_be_said(name: str) -> None:
    assert NEVER.findall(read_page(PAGES[name]).text()) == []


@pytest.mark.parametrize("name", PAGES)
def test_the_whole_safety_text_and_the_emergency_number_are_on_every_page(name: str) -> None:
    (section,) = read_page(PAGES[name]).find("section", style="safety")
    text = section.text()
    assert "Site emergency number:" in text
    for heading, paragraph in wording.SAFETY:
        assert heading in text and paragraph in text


@pytest.mark.parametrize("name", PAGES)
def test_no_code_and_no_absent_value_reaches_the_reader(name: str) -> None:
    text = read_page(PAGES[name]).text()
    assert "UNSET" not in text and "None" not in text
    shown = set(re.findall(r"\b[A-Z]+(?:_[A-Z0-9]+)+\b", text))
    # Names of conventions stand in the provenance as an answer carries them.
    assert shown <= {"ONE_SIDED_2R_PLUS_2", "NO_PRIOR"}


@pytest.mark.parametrize("name", examples.every_kind())
def test_a_lot_page_leads_with_its_verdict_in_words_beside_a_shape(name: str) -> None:
    from service.pages.sentences import headline

    evaluation = examples.every_kind()[name]
    (section,) = read_page(PAGES[name]).find("section", style="verdict")
    assert section.find("h2")[0].text() == headline(evaluation)
    assert section.find("svg", style="badge")[0].attributes["aria-hidden"] == "true"


def test_a_variables_verdict_says_one_population_and_shows_the_attribute_view() -> None:
    text = read_page(PAGES["accepted"]).text()
    assert wording.ONE_POPULATION in text
    assert "By attributes, at the target" in text
    assert wording.ONE_POPULATION not in read_page(PAGES["by-attributes"]).text()


def test_every_lot_under_a_specification_says_what_one_minus_c_is() -> None:
    for name, evaluation in examples.every_kind().items():
        said = "not the share of accepted lots that are bad" in read_page(PAGES[name]).text()
        assert said == bool(evaluation.requirements)


def test_both_refusals_read_differently() -> None:
    weak, strong = (read_page(PAGES[name]).text() for name in ("not-demonstrated", "shown-below"))
    assert "says nothing about the goods" in weak and "says nothing about the goods" not in strong
    assert "a finding about the goods" in strong and "a finding about the goods" not in weak


def test_a_held_lot_shows_both_alternatives_of_every_item_and_both_verdicts() -> None:
    text = read_page(PAGES["held"]).text()
    assert "suspended at 141,220 credited cycles failed at 141,220 credited cycles" in text
    assert "All decided for the lot Continue: the plan is not finished" in text
    assert "All decided against it Not accepted: not demonstrated" in text
    assert wording.OPEN_ITEMS in text


def test_a_lot_page_has_its_provenance_and_recorded_decisions() -> None:
    text = read_page(PAGES["decided"]).text()
    evaluation = examples.accepted()
    for part in (
        examples.SPEC_HASH, evaluation.provenance.evaluation_key, "scipy 1.17.1",
        "Method version 1", "2026-11-25 07:05:00 UTC", "reviewed and approved",
        "quality system (system)", "outdated: facts arrived later",
    ):  # fmt: skip
        assert part in text, part
    assert "No decision has been recorded" in read_page(PAGES["accepted"]).text()


def test_options_beyond_the_plan_stand_apart_as_new_tests() -> None:
    text = read_page(PAGES["not-demonstrated"]).text()
    assert "Nothing more can be done within the approved plan." in text
    assert "Only under a new specification" in text
    assert "45 units to 100,000 cycles each; acceptance number 0." in text


def test_a_what_if_is_told_as_one() -> None:
    page = lot_page(structs.replace(examples.accepted(), what_if=True))
    assert "Its verdict cannot be recorded." in read_page(page).text()
    assert "What if." not in read_page(PAGES["accepted"]).text()


def test_several_requirements_each_have_their_argument() -> None:
    evaluation = examples.accepted()
    twice = [evaluation.requirements[0], evaluation.requirements[0]]
    twice[1] = structs.replace(twice[1], reasons=[Reason(code="TARGET_LIVES_SHORT")])
    page = read_page(lot_page(structs.replace(evaluation, requirements=twice)))
    assert len(page.find("blockquote")) == 2
    assert "This specification has 2 requirements" in page.text()


@pytest.mark.parametrize("unit", PRESSURE_UNIT_LABELS)
def test_links_keep_the_readers_unit(unit: PressureUnit) -> None:
    page = read_page(lot_page(examples.accepted(), unit=unit))
    (link,) = [a for a in page.find("a") if a.text() == "L01-001"]
    query = "" if unit == "mpa" else f"?pressure_unit={unit}"
    assert link.attributes["href"] == f"/units/unit_l01-001{query}"
    (current,) = [a for a in page.find("a") if "aria-current" in a.attributes]
    assert current.text() == PRESSURE_UNIT_LABELS[unit]
    choices = page.find("nav", style="unit-choice")[0].find("a")
    assert [choice.attributes["href"] for choice in choices] == [
        "/lots/lot_l01", "/lots/lot_l01?pressure_unit=bar", "/lots/lot_l01?pressure_unit=psi",
    ]  # fmt: skip


def test_names_from_outside_are_text_and_never_markup() -> None:
    name = '<img src=x onerror=alert(1)>"'
    units = [examples.unit_line(name, "RUNNING", 5, unit_id="../a?b#c")]
    evaluation = structs.replace(examples.accepted(), lot_number=name, units=units)
    html = views.render_lot(
        evaluation,
        lot=structs.replace(examples.lot("L01"), lot_id="a/b", part_number=name),
        decisions=[],
        spec=None,
        pressure_unit="psi",
    )
    page = read_page(html)
    assert page.find("img") == []
    assert name in page.find("h1")[0].text()
    assert "/units/..%2Fa%3Fb%23c?pressure_unit=psi" in addresses_in(page)


def test_a_long_list_leads_to_its_next_page() -> None:
    page = read_page(list_page(next_page="/lots?cursor=abc&pressure_unit=psi"))
    assert "/lots?cursor=abc&pressure_unit=psi" in addresses_in(page)
    assert "More lots" not in read_page(PAGES["list"]).text()


def test_a_unit_page_accounts_for_every_cycle_and_every_stretch() -> None:
    page = read_page(PAGES["unit"])
    text = page.text()
    for part in ("Logged 165,200", "Counted 163,900", "short of the pressure band 400"):
        assert part in text
    assert "after counter reset 1" in text
    assert "All decided against it: failed at 163,619" in text


def test_the_stylesheet_has_both_schemes_and_paper() -> None:
    style = views.stylesheet().decode()
    assert "@media (prefers-color-scheme: dark)" in style
    assert "color-scheme: light dark" in style
    assert "@media print" in style and "size: A4" in style
    assert ":focus-visible" in style
    assert "url(" not in style and "@import" not in style and "http" not in style
    assert style.count("{") == style.count("}")


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
@pytest.mark.parametrize("ground", ["paper", "sheet"])
def test_text_stands_out_from_its_ground_in_every_scheme(scheme: str, ground: str) -> None:
    colours = colours_of(scheme)
    for ink in ("ink", "soft", "link"):
        assert contrast(colours[ink], colours[ground]) >= 4.5, (scheme, ink, ground)
    # What is no text but must be seen: focus, filled bars, strong rules.
    for line in ("focus", "fill", "strong-rule"):
        assert contrast(colours[line], colours[ground]) >= 3, (scheme, line, ground)


def row_width(row: object) -> int:
    from html_checks import Element

    assert isinstance(row, Element)
    cells = [child for child in row.children if isinstance(child, Element)]
    return sum(int(cell.attributes.get("colspan", "1")) for cell in cells)


def colours_of(scheme: str) -> dict[str, str]:
    """Custom colours of a scheme; those it does not set are the light ones."""
    style = views.stylesheet().decode()
    blocks = re.findall(r":root\s*{([^}]*)}", style)
    assert len(blocks) == 3
    light, other, paper = (dict(re.findall(r"--([\w-]+):\s*(#\w+)", block)) for block in blocks)
    return {"light": light, "dark": {**light, **other}, "print": {**light, **paper}}[scheme]


def contrast(first: str, second: str) -> float:
    """Contrast ratio by the formula of WCAG 2 (relative luminance of sRGB), from memory."""
    bright, dim = sorted((luminance(first), luminance(second)), reverse=True)
    return (bright + 0.05) / (dim + 0.05)


def luminance(colour: str) -> float:
    digits = colour.removeprefix("#")
    digits = "".join(2 * digit for digit in digits) if len(digits) == 3 else digits
    channels = [int(digits[index : index + 2], 16) / 255 for index in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return sum(weight * c for weight, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def test_the_contrast_formula_gives_its_known_ends() -> None:
    assert contrast("#000", "#fff") == pytest.approx(21)
    assert contrast("#777777", "#fff") == pytest.approx(4.48, abs=0.01)


def test_decided_items_say_what_was_decided_by_whom_and_why() -> None:
    text = read_page(lot_page(with_decided_items())).text()
    assert "Decided items" in text
    assert "for the lot: suspended at 141,220 credited cycles" in text.replace("\u00a0", " ")
    assert text.count("stop cleared after inspection: dry at the inspection that followed") == 2
    assert "Test engineer, 2026-11-20" in text.replace("\u00a0", " ")
    assert "Decided items" not in read_page(lot_page(examples.accepted())).text()
