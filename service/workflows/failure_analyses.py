"""What the failure records of a unit tell its reduction, with their places turned into counts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from analysis.reduction.failure_analysis import clean_place
from analysis.reduction.order import Place
from schemas.failure_records import HiddenBefore
from schemas.stretches import StretchSummary
from schemas.unit_evidence import FailureAnalysis
from service.storage.failure_records import StoredFailureRecord


def clean_places(
    records: Sequence[StoredFailureRecord], stretches: Sequence[StretchSummary]
) -> dict[int, Place]:
    """
    Where in the rows hidden damage was surely absent, by the record's number.

    Only of records that name a cycle, and only where that cycle is among the unit's rows.
    """
    found = {}
    for number, each in enumerate(records):
        hidden = each.record.record.hidden_before
        if hidden is not None and hidden.clean_after is not None:
            place = clean_place(hidden.clean_after, stretches)
            if place is not None:
                found[number] = place
    return found


def analyses_of(
    records: Sequence[StoredFailureRecord], clean_cycles: Mapping[int, int]
) -> list[FailureAnalysis]:
    """
    A unit's failure records as the reduction reads them.

    Parameters
    ----------
    records : sequence of StoredFailureRecord
        Of one unit, oldest first.
    clean_cycles : mapping of int to int
        Counted cycles at the places that `clean_places` found, by the record's number.

    Returns
    -------
    list of FailureAnalysis
        Hidden damage of which nothing is known, or that names a cycle which is not among
        the rows, may be as old as the unit.
    """
    return [
        FailureAnalysis(
            record_id=each.record.record_id,
            record_key=each.record.record.record_key,
            failure_mode=each.record.record.failure_mode,
            signatures=each.signatures,
            clean_cycles=_clean(each.record.record.hidden_before, clean_cycles.get(number, 0)),
        )
        for number, each in enumerate(records)
    ]


def _clean(hidden: HiddenBefore | None, located: int) -> int | None:
    if hidden is None:
        return None
    return located if hidden.clean_at_cycles is None else hidden.clean_at_cycles
