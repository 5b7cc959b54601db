"""Open questions as holds: named by what stands behind them."""

import base64
import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence

import msgspec
from msgspec import UNSET

from analysis.reduction.endings import LifeEnd
from analysis.reduction.readings import Doubt
from schemas.holds import Alternative, Hold, HoldAnswer
from schemas.unit_evidence import UnitEvidence

_BETWEEN_LIVES = ("LIFE_SOURCE_CONFLICT", "ORDER_AMBIGUOUS")
"""Questions whose evidence names no figure: the two lives themselves are what is asked about."""
_LETTERS = 12


def hold_ids(unit_id: str, doubts: Sequence[Doubt]) -> list[str]:
    """
    Name of each question about a unit, the same as long as what is behind it is the same.

    Parameters
    ----------
    unit_id : str
        The unit.
    doubts : sequence of Doubt
        Its questions in their order.

    Returns
    -------
    list of str
        Unit, kind of question and a hash of what its signer is shown: the evidence, and
        the failure that it may hide. Two questions that look the same are told apart by
        their order.

    Notes
    -----
    A disposition names this id. It answers the question with exactly this evidence: when
    rows or records change the evidence, the question has another name and is open again.
    A unit that simply runs on keeps the names of the questions about its past: what they
    say of its life is not in the hash, except where the question is which of two lives is
    the unit's.
    """
    seen: Counter[bytes] = Counter()
    names = []
    for doubt in doubts:
        content = msgspec.json.encode((doubt.name, doubt.evidence, _stake(doubt)))
        seen[content] += 1
        digest = hashlib.sha256(content + b"\0%d" % seen[content]).digest()
        letters = base64.b32encode(digest).decode().lower()[:_LETTERS]
        names.append(f"{unit_id}.{doubt.name}.{letters}")
    return names


def hold_of(
    evidence: UnitEvidence, hold_id: str, doubt: Doubt, answer: HoldAnswer | None = None
) -> Hold:
    """A question about a unit with both alternatives, and its signed answer if there is one."""
    return Hold(
        hold_id=hold_id,
        name=doubt.name,
        evidence=doubt.evidence,
        best=_alternative(doubt.best),
        worst=_alternative(doubt.worst),
        lot_number=evidence.lot_number,
        unit_id=evidence.unit_id,
        unit_serial=evidence.unit_serial,
        answer=UNSET if answer is None else answer,
    )


def _alternative(end: LifeEnd) -> Alternative:
    return Alternative(ending=end.ending, credited_cycles=end.credited_cycles, failed=end.failed)


def _stake(doubt: Doubt) -> tuple[Mapping[str, int | str | None], ...]:
    """The failure that a question may hide, or both lives where it is which one is true."""
    if doubt.name in _BETWEEN_LIVES:
        return _life(doubt.best), _life(doubt.worst)
    return (_life(doubt.worst),) if doubt.worst.failed else ({"ending": doubt.worst.ending},)


def _life(end: LifeEnd) -> Mapping[str, int | str | None]:
    return {
        "ending": end.ending,
        "credited_cycles": end.credited_cycles,
        "cycles": end.cycles,
        "cycles_low": end.cycles_low,
        "cycles_high": end.cycles_high,
    }
