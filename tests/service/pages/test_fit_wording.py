"""Every code of fits and comparisons that a page can meet has words, and none that must not be."""

from __future__ import annotations

import re
from typing import get_args

import pytest

from schemas.fit_answers import FitWarningCode
from schemas.fit_limits import LimitMethod
from schemas.fits import Distribution
from schemas.lot_comparisons import ComparedBy
from schemas.second_opinion import NotFittedReason, OpinionCode, OpinionDistribution
from service.pages import fit_wording

CODES = {
    "COMPARED_BY": get_args(ComparedBy),
    "DISTRIBUTIONS": (*get_args(Distribution), *get_args(OpinionDistribution)),
    "FIT_WARNINGS": get_args(FitWarningCode),
    "METHODS": get_args(LimitMethod),
    "NOT_FITTED": get_args(NotFittedReason),
    "OPINIONS": get_args(OpinionCode),
}
NEVER = re.compile(
    r"%\s*reliable|probability|certif|\bsafe\b|guarantee|\bproof\b|\bproven\b|alpha", re.IGNORECASE
)


@pytest.mark.parametrize("catalogue", CODES)
def test_every_code_has_words(catalogue: str) -> None:
    codes = CODES[catalogue]
    assert codes
    assert [code for code in codes if not getattr(fit_wording, catalogue).get(code)] == []


def test_no_sentence_says_what_must_never_be_said() -> None:
    texts: list[str] = []
    for name, value in vars(fit_wording).items():
        if name.isupper():
            texts += value.values() if isinstance(value, dict) else [value]
    assert len(texts) > 50
    assert [text for text in texts if NEVER.search(text)] == []


def test_a_page_of_estimates_says_that_nothing_in_it_decides() -> None:
    assert "nothing on this page decides" in fit_wording.ESTIMATE_ONLY
    assert "no evidence of one population" in fit_wording.MIXTURE_NOT_FLAGGED
