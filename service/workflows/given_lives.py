"""Lives that a caller sends, checked one by one, in the form that fits take."""

from __future__ import annotations

import math
from collections.abc import Sequence

from msgspec import UNSET, Struct

from analysis.statistics.competing_modes import ModeLives, mode_lives
from analysis.statistics.life_records import LifeRecords, life_records
from schemas.fit_requests import ObservedLife
from schemas.problems import ProblemError
from service.errors import InvalidRequest

MOST_ERRORS = 10
"""A refusal names at most this many places; corrected, the rest shows up."""

_Ends = tuple[float, float]


def given_lives(lives: Sequence[ObservedLife]) -> LifeRecords:
    """
    Lives of a request as the records of one lot.

    Parameters
    ----------
    lives : sequence of ObservedLife
        As sent.

    Returns
    -------
    LifeRecords

    Raises
    ------
    InvalidRequest
        If a life lacks the counts that its ending needs, has others, or has them in the
        wrong order; each with a pointer to it.
    """
    ends = checked_ends(lives)
    return life_records(
        [low for low, _ in ends],
        [high for _, high in ends],
        counts=[life.count for life in lives],
    )


def given_mode_lives(lives: Sequence[ObservedLife]) -> ModeLives | None:
    """
    The same lives with the mode of each failure; None where no failure has one.

    Raises
    ------
    InvalidRequest
        As `given_lives`; or if some failures have a mode and others none, or a life without
        a failure has one.
    """
    ends = checked_ends(lives)
    modes = _modes(lives)
    if not any(modes):
        return None
    return mode_lives(
        [low for low, _ in ends],
        [high for _, high in ends],
        modes,
        counts=[life.count for life in lives],
    )


def checked_ends(lives: Sequence[ObservedLife]) -> list[_Ends]:
    """The two ends of each life; the errors are those of `given_lives`."""
    ends: list[_Ends] = []
    errors: list[ProblemError] = []
    for index, life in enumerate(lives):
        found = _ends(life)
        if isinstance(found, _Fault):
            errors.append(found.at(index))
        else:
            ends.append(found)
    if errors:
        raise InvalidRequest(errors[:MOST_ERRORS])
    return ends


class _Fault(Struct, frozen=True):
    """What is wrong with one life, and in which of its fields."""

    code: str
    field: str
    detail: str

    def at(self, index: int) -> ProblemError:
        """The fault with its place in the body."""
        pointer = f"/lives/{index}" + (f"/{self.field}" if self.field else "")
        return ProblemError(code=self.code, detail=self.detail, pointer=pointer)


def _ends(life: ObservedLife) -> _Ends | _Fault:
    """The two ends of a life, infinity for one that did not fail."""
    bracket = {"cycles_low": life.cycles_low, "cycles_high": life.cycles_high}
    if life.ending == "FAILED_BETWEEN":
        needed, unwanted = bracket, {"cycles": life.cycles}
    else:
        needed, unwanted = {"cycles": life.cycles}, bracket
    for name, value in needed.items():
        if value is UNSET:
            detail = f"A life that ended {life.ending} needs {name}."
            return _Fault("MISSING_FIELD", "", detail)
    for name, value in unwanted.items():
        if value is not UNSET:
            detail = f"A life that ended {life.ending} has no {name}; it has {', '.join(needed)}."
            return _Fault("FIELD_NOT_ALLOWED", name, detail)
    low, high = _numbers(life)
    if life.ending == "FAILED_BETWEEN" and not low < high:
        detail = "cycles_low must be below cycles_high; a failure at a known count is FAILED."
        return _Fault("RANGE_REVERSED", "cycles_low", detail)
    return low, high


def _numbers(life: ObservedLife) -> _Ends:
    if life.ending == "FAILED_BETWEEN":
        return _number(life.cycles_low), _number(life.cycles_high)
    cycles = _number(life.cycles)
    return cycles, cycles if life.ending == "FAILED" else math.inf


def _number(value: object) -> float:
    assert isinstance(value, int | float)
    return float(value)


def _modes(lives: Sequence[ObservedLife]) -> list[str | None]:
    """Mode of each failure, None for a life that did not fail; all failures or none have one."""
    modes = [None if life.failure_mode is UNSET else life.failure_mode for life in lives]
    any_mode = any(mode is not None for mode in modes)
    errors = []
    for index, (life, mode) in enumerate(zip(lives, modes, strict=True)):
        failed = life.ending in ("FAILED", "FAILED_BETWEEN")
        if failed and mode is None and any_mode:
            detail = "Give every failure a failure_mode, or none; UNANALYSED is a mode too."
            errors.append(_Fault("MISSING_FIELD", "", detail).at(index))
        elif not failed and mode is not None:
            detail = f"A life that ended {life.ending} has no failure_mode."
            errors.append(_Fault("FIELD_NOT_ALLOWED", "failure_mode", detail).at(index))
    if errors:
        raise InvalidRequest(errors[:MOST_ERRORS])
    return modes
