"""Errors of the mathematics; each class carries a fixed `code`.

"Cannot be estimated" is not among them: that is an answer, `schemas.estimates.NotEstimable`.
"""

from collections.abc import Sequence
from typing import ClassVar


class AnalysisError(ValueError):
    """Something the mathematics refuses; `code` names the kind for machines."""

    code: ClassVar[str] = "ANALYSIS_ERROR"


class OutsideDomainError(AnalysisError):
    """
    An argument lies outside the range for which a method has a meaning.

    Parameters
    ----------
    name : str
        Argument, with the position for one value of many: ``life_cycles[3]``.
    value : object
        What was given.
    allowed : str
        What would have been accepted, as the end of the sentence "... must be".
    """

    code: ClassVar[str] = "OUTSIDE_DOMAIN"

    def __init__(self, name: str, value: object, allowed: str) -> None:
        self.name = name
        self.value = value
        self.allowed = allowed
        super().__init__(f"{name} must be {allowed}, got {value!r}")


class InconsistentRecordError(AnalysisError):
    """
    Records of one unit contradict each other and no rule decides between them.

    Parameters
    ----------
    unit : str
        The unit concerned.
    records : sequence of str
        The records that cannot all be true.
    """

    code: ClassVar[str] = "INCONSISTENT_RECORD"

    def __init__(self, unit: str, records: Sequence[str]) -> None:
        self.unit = unit
        self.records = tuple(records)
        super().__init__(f"records of unit {unit} contradict each other: {'; '.join(records)}")


class DidNotConvergeError(AnalysisError):
    """
    A search ended without an answer that meets its own test.

    Parameters
    ----------
    sought : str
        The quantity that was searched for.
    tried : str
        What was done before giving up.
    """

    code: ClassVar[str] = "DID_NOT_CONVERGE"

    def __init__(self, sought: str, tried: str) -> None:
        self.sought = sought
        self.tried = tried
        super().__init__(f"no {sought} found: {tried}")
