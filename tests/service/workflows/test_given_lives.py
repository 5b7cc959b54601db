"""Lives of a request: each ending with the counts it needs, each fault with its place."""

from __future__ import annotations

import math
from typing import Any

import pytest

from schemas.fit_requests import ObservedLife
from service.errors import InvalidRequest
from service.workflows.given_lives import (
    MOST_ERRORS,
    checked_ends,
    given_lives,
    given_mode_lives,
)


def life(ending: Any, **given: Any) -> ObservedLife:
    return ObservedLife(ending=ending, **given)


def test_every_ending_becomes_two_ends() -> None:
    lives = [
        life("FAILED", cycles=41_000.0),
        life("FAILED_BETWEEN", cycles_low=30_000.0, cycles_high=40_000.0),
        life("FAILED_BETWEEN", cycles_low=0.0, cycles_high=40_000.0),
        *[life(ending, cycles=60_000.0) for ending in ("RUN_OUT", "SUSPENDED", "RUNNING")],
    ]
    assert checked_ends(lives) == [
        (41_000.0, 41_000.0),
        (30_000.0, 40_000.0),
        (0.0, 40_000.0),
        *[(60_000.0, math.inf)] * 3,
    ]
    records = given_lives(lives)
    assert (records.unit_count, records.failure_count, records.has_brackets) == (6, 3, True)


def test_units_that_share_a_life_are_counted() -> None:
    records = given_lives([life("FAILED", cycles=5.0, count=3), life("RUN_OUT", cycles=9.0)])
    assert records.counts.tolist() == [3.0, 1.0]


@pytest.mark.parametrize(
    ("wrong", "code", "pointer"),
    [
        (life("FAILED"), "MISSING_FIELD", "/lives/1"),
        (life("RUN_OUT", cycles_low=1.0), "MISSING_FIELD", "/lives/1"),
        (life("FAILED_BETWEEN", cycles_high=2.0), "MISSING_FIELD", "/lives/1"),
        (life("FAILED_BETWEEN", cycles_low=1.0), "MISSING_FIELD", "/lives/1"),
        (life("FAILED", cycles=2.0, cycles_low=1.0), "FIELD_NOT_ALLOWED", "/lives/1/cycles_low"),
        (
            life("FAILED_BETWEEN", cycles_low=1.0, cycles_high=2.0, cycles=2.0),
            "FIELD_NOT_ALLOWED",
            "/lives/1/cycles",
        ),
        (
            life("FAILED_BETWEEN", cycles_low=2.0, cycles_high=2.0),
            "RANGE_REVERSED",
            "/lives/1/cycles_low",
        ),
    ],
)
def test_a_life_that_does_not_fit_its_ending_is_refused_at_its_place(
    wrong: ObservedLife, code: str, pointer: str
) -> None:
    with pytest.raises(InvalidRequest) as refusal:
        given_lives([life("RUN_OUT", cycles=9.0), wrong])
    [error] = refusal.value.errors
    assert (error.code, error.pointer) == (code, pointer)


def test_a_refusal_names_the_first_faults_and_no_more() -> None:
    with pytest.raises(InvalidRequest) as refusal:
        given_lives([life("FAILED")] * (MOST_ERRORS + 5))
    places = [error.pointer for error in refusal.value.errors]
    assert places == [f"/lives/{index}" for index in range(MOST_ERRORS)]


def test_without_a_mode_there_are_no_modes() -> None:
    assert given_mode_lives([life("FAILED", cycles=5.0), life("RUN_OUT", cycles=9.0)]) is None


def test_modes_stand_beside_their_lives() -> None:
    found = given_mode_lives(
        [
            life("FAILED", cycles=5.0, failure_mode="SEAL", count=2),
            life("RUN_OUT", cycles=9.0),
        ]
    )
    assert found is not None
    assert found.modes == ("SEAL", "")
    assert found.counts.tolist() == [2.0, 1.0]


@pytest.mark.parametrize(
    ("lives", "pointer"),
    [
        (
            [life("FAILED", cycles=5.0, failure_mode="SEAL"), life("FAILED", cycles=6.0)],
            "/lives/1",
        ),
        (
            [
                life("FAILED", cycles=5.0, failure_mode="SEAL"),
                life("RUNNING", cycles=6.0, failure_mode="SEAL"),
            ],
            "/lives/1/failure_mode",
        ),
    ],
)
def test_modes_are_given_for_every_failure_and_only_for_failures(
    lives: list[ObservedLife], pointer: str
) -> None:
    with pytest.raises(InvalidRequest) as refusal:
        given_mode_lives(lives)
    assert [error.pointer for error in refusal.value.errors] == [pointer]
