"""Sentences about the trend of a unit: each state of the finding has its own."""

from __future__ import annotations

from msgspec import UNSET, structs
from trend_examples import LEAKING, point, trend

from schemas.onsets import OnsetFinding
from schemas.trends import Spread
from service.pages.trend_sentences import about, finding, seconds_text, spread_text
from service.pages.units import NO_BREAK


def said(sentences: list[str]) -> str:
    return " ".join(sentences).replace(NO_BREAK, " ")


def test_an_onset_is_told_with_its_bracket_and_growth() -> None:
    text = said(finding(trend(), "mpa"))
    assert "between 4,210 and 4,700 counted cycles" in text
    assert "0.10 MPa (15 psi) per 1,000 cycles" in text
    assert "more than 0.015 MPa" in text


def test_missing_rows_and_a_move_are_told_with_it() -> None:
    assert LEAKING.evidence is not None
    moved = structs.replace(LEAKING.evidence, judged_against="CARRIED", dead_band_mpa=0.025)
    text = said(
        finding(trend(onset=structs.replace(LEAKING, high_cycles=5_200, evidence=moved)), "mpa")
    )
    assert "Rows are missing inside the bracket" in text
    assert "0.025 MPa" in text
    assert "Rows are missing" not in said(finding(trend(), "mpa"))


def test_no_onset_says_how_far_it_was_judged() -> None:
    found = OnsetFinding(
        state="NO_ONSET",
        blocks_read=57,
        blocks_left_out=3,
        judged_to=6_000,
        baseline=LEAKING.baseline,
    )
    assert "up to 6,000 counted cycles" in said(finding(trend(onset=found), "mpa"))


def test_no_baseline_is_never_told_as_no_onset() -> None:
    for reason in ("TOO_FEW_BLOCKS", "NOT_STEADY"):
        found = OnsetFinding(state="NO_BASELINE", blocks_read=3, blocks_left_out=3, reason=reason)
        text = said(finding(trend(onset=found), "mpa"))
        assert text.startswith("No baseline")
        assert "not even that there was none" in text


def test_where_nothing_was_asked_that_is_said() -> None:
    assert "asks for no search" in said(finding(trend(onset=UNSET), "mpa"))
    assert "Without a specification" in said(finding(trend(onset=UNSET, spec=UNSET), "mpa"))


def test_blocks_left_out_are_explained_only_where_there_are_any() -> None:
    assert "within 300 commanded cycles" in said(about(trend()))
    assert "diamonds" not in said(about(trend(points=[point(5)])))
    unmasked = trend(mask_after_start_cycles=UNSET)
    assert "cut short by the end of their stretch" in said(about(unmasked))


def test_a_spread_names_its_ends_only_where_they_differ() -> None:
    assert spread_text(UNSET, "mpa") == ""
    assert seconds_text(UNSET) == ""
    wide = Spread(lowest=0.05, median=0.06, highest=0.07)
    assert spread_text(wide, "mpa").replace(NO_BREAK, " ") == "0.060 MPa (0.050 MPa to 0.070 MPa)"
    assert seconds_text(wide).replace(NO_BREAK, " ") == "0.060 s (0.050 s to 0.070 s)"
