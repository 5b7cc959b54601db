"""How a step of a validation is told, the unfinished one included."""

from __future__ import annotations

import time
from collections.abc import Callable

from msgspec import UNSET, Struct

from schemas.validations import StepName, ValidationStep


class Compared(Struct, frozen=True, kw_only=True):
    """
    What a step compared, and every difference that it found, in words.

    A step that compared nothing has shown nothing and fails, unless it may be empty
    because there was nothing to compare with; a note says so then.
    """

    count: int
    differences: list[str]
    notes: list[str] = []
    may_be_empty: bool = False


def step_of(name: StepName, compare: Callable[[], Compared]) -> ValidationStep:
    """
    Run a step; whatever it raises is its difference.

    Notes
    -----
    A changed copy can break in any way. A protocol must still be written, and must
    say which step broke and how, so every error is caught here and nowhere else.
    """
    began = time.monotonic()
    try:
        compared = compare()
    except Exception as error:
        compared = Compared(count=0, differences=[f"not finished: {said_of(error)}"])
    differences = list(compared.differences)
    if not differences and compared.count == 0 and not compared.may_be_empty:
        differences = ["nothing was compared"]
    return ValidationStep(
        name=name,
        passed=not differences,
        compared_count=compared.count,
        differing_count=len(differences),
        elapsed_s=round(time.monotonic() - began, 3),
        first_difference=differences[0] if differences else UNSET,
        notes=compared.notes,
    )


def said_of(error: Exception) -> str:
    """
    An error in words with its kind.

    Examples
    --------
    >>> said_of(ValueError("no shape")), said_of(KeyError())
    ('ValueError: no shape', 'KeyError')
    """
    return f"{type(error).__name__}: {error}".removesuffix(": ")
