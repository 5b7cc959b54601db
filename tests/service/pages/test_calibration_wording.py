"""Every code about calibrations that a page can meet has words, and none that must not be."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Any, get_args

import pytest

from schemas.calibrations import CalibrationNotice, NewCalibration, NoticeCode
from schemas.decisions import DecisionMark
from service.pages.calibration_wording import DECISION_MARKS, NOTICES, error_text, notice_text
from service.pages.units import NO_BREAK

NEVER = re.compile(
    r"%\s*reliable|probability|certif|\bsafe\b|guarantee|\bproof\b|\bproven\b|alpha", re.IGNORECASE
)


def found(**said: Any) -> NewCalibration:
    content: dict[str, Any] = {"gain": 1.0, "offset_mpa": 0.0} | said
    return NewCalibration(
        calibration_key="K-1",
        sensor_id="PT-B4",
        from_at=datetime(2025, 6, 1, tzinfo=UTC),
        to_at=datetime(2025, 9, 1, tzinfo=UTC),
        found_at=datetime(2025, 9, 1, tzinfo=UTC),
        reason="yearly check",
        **content,
    )


def test_every_code_has_words_and_none_that_must_never_be_said() -> None:
    assert set(NOTICES) == {*get_args(NoticeCode)}
    assert set(DECISION_MARKS) == {*get_args(DecisionMark)}
    texts = [*NOTICES.values(), *DECISION_MARKS.values()]
    assert [text for text in texts if NEVER.search(text)] == []


def test_a_sensor_that_read_low_is_told_with_what_to_do_at_once() -> None:
    said = notice_text(CalibrationNotice(code="READS_LOW", shown_mpa=33.25, true_mpa=35.37), "psi")
    # 33.25 and 35.37 MPa over 0.006894757 MPa to the psi, by hand: 4 823 and 5 130.
    assert said.replace(NO_BREAK, " ").startswith(
        "Where 4,823 psi (33.25 MPa) was shown, 5,130 psi"
    )
    for advice in ("Stop running", "dangerous direction", "verify zero at each unit"):
        assert advice in said
    assert notice_text(CalibrationNotice(code="READS_LOW"), "mpa") == NOTICES["READS_LOW"]


@pytest.mark.parametrize(
    ("said", "text"),
    [
        ({}, "a good check: shown = true"),
        ({"gain": 1.06}, "shown = 1.06 × true"),
        ({"offset_mpa": 0.5}, "shown = true + 0.50 MPa"),
        ({"gain": 0.94, "offset_mpa": -0.5}, "shown = 0.94 × true − 0.50 MPa"),
    ],
)
def test_what_was_found_is_said_as_a_sum(said: dict[str, float], text: str) -> None:
    assert error_text(found(**said), "mpa").replace(NO_BREAK, " ") == text
