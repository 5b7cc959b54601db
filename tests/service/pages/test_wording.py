"""Every code that an answer can carry has words, and no sentence says what must not be said."""

import re
from typing import get_args

import pytest

from schemas.decisions import (
    Decision,
    Reason,
    ReasonCode,
    RefusalKind,
    Verdict,
    Views,
    WayToFinish,
)
from schemas.holds import HoldCode
from schemas.lives import ENDINGS, Ending, Mark
from schemas.lots import RegistrationState, StopClass
from schemas.specs import Credit, PlanKind, SeenAs, SpecState
from schemas.stretches import NOT_COUNTED_REASONS
from service.pages import wording

CODES = {
    "ACTORS": get_args(Decision.__annotations__["actor_kind"]),
    "CREDITS": get_args(Credit),
    "ENDINGS": (*ENDINGS, *get_args(Ending)),
    "ENDINGS_EXPLAINED": get_args(Ending),
    "HOLDS": get_args(HoldCode),
    "LOT_STATES": get_args(RegistrationState),
    "MARKS": get_args(Mark),
    "NOT_COUNTED": NOT_COUNTED_REASONS,
    "PLANS": get_args(PlanKind),
    "REASONS": get_args(ReasonCode),
    "REFUSALS": get_args(RefusalKind),
    "SEEN_AS": get_args(SeenAs),
    "SPEC_STATES": get_args(SpecState),
    "STOPS": get_args(StopClass),
    "VERDICTS": get_args(Verdict),
    "VIEW_RESULTS": get_args(Views.__annotations__["attribute"]),
    "WAYS": get_args(WayToFinish.__annotations__["kind"]),
}

NEVER = re.compile(
    r"%\s*reliable|probability|certif|\bsafe\b|guarantee|\bproof\b|\bproven\b|alpha", re.IGNORECASE
)


@pytest.mark.parametrize("catalogue", CODES)
def test_every_code_of_the_answers_has_words(catalogue: str) -> None:
    codes = CODES[catalogue]
    assert codes
    assert [code for code in codes if not getattr(wording, catalogue).get(code)] == []


def test_a_reason_always_has_a_sentence_that_needs_no_figure() -> None:
    # Without figures something is still said of every code.
    without = [code for code, said in wording.REASONS.items() if "{" in said[-1]]
    assert without == []


def test_every_reason_of_a_hold_has_a_headline() -> None:
    assert set(wording.HOLDS_BY_REASON) <= set(get_args(ReasonCode))


def test_words_that_the_reduction_and_the_fit_add_are_catalogued() -> None:
    assert {"RUNNING", "COUNTER_RESET"} <= set(wording.STOPS)
    assert {"NO_FAILURES", "BRACKETED_LIVES", "DID_NOT_CONVERGE"} <= set(wording.NOT_ESTIMABLE)


def test_every_verdict_and_kind_that_needs_one_has_a_meaning() -> None:
    kinds = {*get_args(Verdict), *get_args(RefusalKind)} - {"REJECT"}
    assert kinds == set(wording.MEANINGS)


def test_the_figures_in_a_reasons_sentence_are_fields_of_a_reason() -> None:
    named = {
        name
        for sentences in wording.REASONS.values()
        for name in re.findall(r"{(\w+)}", " ".join(sentences))
    }
    assert named <= set(Reason.__struct_fields__)


def test_no_sentence_says_what_must_never_be_said() -> None:
    assert [text for text in every_text() if NEVER.search(text)] == []


def test_both_kinds_of_refusal_read_differently() -> None:
    weak, strong = (wording.MEANINGS[kind] for kind in get_args(RefusalKind))
    assert "says nothing about the goods" in weak
    assert "finding about the goods" in strong
    assert len(set(wording.REFUSALS.values())) == 2


def test_the_safety_text_is_complete() -> None:
    text = " ".join(f"{heading}. {paragraph}" for heading, paragraph in wording.SAFETY).lower()
    for part in (
        "0.7 mpa (7 bar, 100 psi)", "surgical emergency", "which fluid", "do not wait",
        "never search for a leak by hand", "window, mirror, camera, paper", "depressurise first",
        "isolated dwell", "supply gauge at zero proves nothing", "zero at each unit",
        "discharge accumulators", "trapped pressure", "lock out", "bleed air",
        "far more violent", "low-fluid stop", "every unit on that supply", "before topping up",
        "preloaded spring", "hot oil", "pinch", "function check", "alone at night",
        "used up", "survivors of an accepted lot", "never ship or refit", "deeper into fatigue",
        "inspect first", "declared maximum", "statistical statement", "permission to pressurise",
        "no disposition of goods", "interlock", "pressure-equipment law",
        "qualified or licensed person", "never commands a rig", "reads low",
    ):  # fmt: skip
        assert part in text, part


def test_a_code_without_words_is_shown_and_not_dropped() -> None:
    assert wording.say(wording.MARKS, "SOMETHING_NEW") == "something new"


def every_text() -> list[str]:
    """All texts of the catalogue."""
    texts: list[str] = []
    for name, value in vars(wording).items():
        if not name.isupper():
            continue
        entries = value.values() if isinstance(value, dict) else value
        entries = [value] if isinstance(value, str) else entries
        for entry in entries:
            texts += [entry] if isinstance(entry, str) else list(entry)
    assert len(texts) > 100
    return texts
