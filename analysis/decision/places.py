"""The places that a plan offers, and the units that come too late for one."""

from collections.abc import Sequence

from msgspec import structs

from schemas.lives import Outcome, UnitLife
from schemas.lot_evidence import LotEvidence
from schemas.specs import Spec

BEYOND_PLAN = "BEYOND_PLAN"


def in_places(evidence: LotEvidence, spec: Spec | None) -> LotEvidence:
    """
    The lot with its units in the places of the plan.

    Parameters
    ----------
    evidence : LotEvidence
        The lot and the lives of its units.
    spec : Spec or None
        Whose plan offers so many `places`; None offers any number.

    Returns
    -------
    LotEvidence
        Units beyond the last place are marked and earn nothing; their failures count.

    Notes
    -----
    A plan that has ended short is refused: one more unit must not save it. Places go to
    the units that started first, declared lives before others, units that have not
    started last; equal ones by serial. An unlisted serial takes no place.
    """
    if spec is None:
        return evidence
    most = spec.plan.places
    sample = [life for life in evidence.lives if "NOT_IN_SAMPLE" not in life.marks]
    late = {life.unit_id for life in sorted(sample, key=first_come)[most:]}
    if not late:
        return evidence
    lives = [_beyond(life) if life.unit_id in late else life for life in evidence.lives]
    return structs.replace(evidence, lives=lives)


def first_come(life: UnitLife) -> tuple[bool, str, str]:
    """Key that puts units in the order in which they take the places of a plan."""
    starts: Sequence[str] = [each.first_started_at.isoformat() for each in life.stretches]
    return "NOT_STARTED" in life.marks, min(starts, default=""), life.unit_serial


def _beyond(life: UnitLife) -> UnitLife:
    return structs.replace(
        life,
        marks=[*life.marks, BEYOND_PLAN],
        outcome=_without_credit(life.outcome),
        best=_without_credit(life.best),
        worst=_without_credit(life.worst),
    )


def _without_credit(outcome: Outcome) -> Outcome:
    if outcome.failed:
        return outcome
    return structs.replace(
        outcome, ending="VOID", credited_cycles=0, most_cycles=0, cycles=None, has_ended=True
    )
