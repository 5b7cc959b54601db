"""Hazards of a unit that people must hear of at once, whatever they do to a verdict."""

from analysis.reduction.modes import UNANALYSED, failure_found, mode_named
from schemas.lives import FailureSeen, LifeNotice, NoticeCode
from schemas.specs import Spec
from schemas.unit_evidence import UnitEvidence

_LETS_FLUID_OUT = {"LEAK", "DECAY", "BURST"}


def notices_of(evidence: UnitEvidence, spec: Spec, failure: FailureSeen | None) -> list[LifeNotice]:
    """
    Notices about a unit, its failure first.

    Parameters
    ----------
    evidence : UnitEvidence
        What is known about the unit; inspections of it all are looked through, those after
        its end too.
    spec : Spec
        Which modes are relevant, and which critical.
    failure : FailureSeen or None
        What ended its life, with the word of failure records and signatures taken.

    Returns
    -------
    list of LifeNotice
        CRITICAL_FAILURE_SEEN for a failure in a critical mode, also where a plan would
        tolerate one more failure; NON_RELEVANT_LEAK for a leak, a loss of pressure or a
        burst that does not count against the lot.

    Notes
    -----
    What does not count can still pierce skin: fluid under pressure is a hazard wherever it
    comes out.
    """
    notices = []
    if failure is not None:
        code = _code_of(failure, spec)
        if code is not None:
            notices.append(
                LifeNotice(
                    code=code,
                    seen_as=failure.seen_as,
                    failure_mode=failure.failure_mode,
                    inspection_key=failure.inspection_key,
                    record_id=failure.record_id,
                )
            )
    return notices + _leaks_at_inspections(evidence, spec)


def _code_of(failure: FailureSeen, spec: Spec) -> NoticeCode | None:
    if failure.relevant:
        return "CRITICAL_FAILURE_SEEN" if failure.critical else None
    mode = mode_named(spec, failure.failure_mode)
    shows_as = {failure.seen_as} | ({mode.seen_as} if mode else set())
    return "NON_RELEVANT_LEAK" if shows_as & _LETS_FLUID_OUT else None


def _leaks_at_inspections(evidence: UnitEvidence, spec: Spec) -> list[LifeNotice]:
    """Leaks that an inspector named as not relevant: they end no life and are still leaks."""
    notices = []
    for located in evidence.inspections:
        inspection = located.inspection
        mode = failure_found(inspection, spec)
        if mode is None or mode.relevant or inspection.leak_class is None:
            continue
        limit = spec.failure.leak_class_fails_at
        if limit is not None and inspection.leak_class >= limit:
            notices.append(
                LifeNotice(
                    code="NON_RELEVANT_LEAK",
                    seen_as="LEAK",
                    failure_mode=inspection.failure_mode or UNANALYSED,
                    inspection_key=inspection.inspection_key,
                )
            )
    return notices
