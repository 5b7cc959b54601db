"""Wording about failure records, the signatures under them, and hazards that they tell of."""

from __future__ import annotations

from schemas.decisions import ExcludedFailure, VerdictIfCounted
from schemas.dispositions import VerdictStanding
from schemas.failure_records import FailureRecordReport, HiddenBefore
from service.pages import sentences, units

STATES: dict[str, str] = {
    "IN_EFFECT": "in effect",
    "AWAITS_SIGNATURES": "waits for signatures; until then the failure counts as before",
    "SUPERSEDED": "superseded by a later record; kept",
    "NO_FAILURE_SEEN": "rows and inspections show no failure of the unit",
}
"""What a record does to the life of its unit."""

NOTICES: dict[str, str] = {
    "NON_RELEVANT_LEAK": (
        "It does not count against the lot and is a hazard all the same: fluid under pressure "
        "pierces skin wherever it comes out. Never search for it by hand; judge it from outside "
        "the guard or depressurise first, and have it put right before anybody goes near."
    ),
    "CRITICAL_FAILURE_SEEN": (
        "A critical failure is a hazard whatever the plan tolerates. Stop units of this lot that "
        "still run until it is understood, and verify zero pressure at each unit before anybody "
        "touches it."
    ),
}
"""What somebody must act on at once."""

NOTICE_TITLES: dict[str, str] = {
    "NON_RELEVANT_LEAK": "A leak that does not count",
    "CRITICAL_FAILURE_SEEN": "A critical failure",
}

INTRODUCTION = (
    "What examinations of failed units found. Until a record names the mode, a failure counts as "
    "the gravest that shows in this way. A record that makes a failure count less needs the "
    "signatures of two different persons."
)

COUNTS_LESS = "Two persons signed that it counts less than it would without their signatures."

PENDING_MODE = (
    "A failure record calls it {mode}, which would make it count less; that waits for signatures."
)

TAKING_DOWN = (
    "Before a unit is taken down or opened: verify zero pressure at the unit itself, expect a "
    "preloaded spring and hot oil."
)


def missing_text(report: FailureRecordReport) -> str:
    """
    Who still has to sign a record; empty where nobody has to.

    Parameters
    ----------
    report : FailureRecordReport
        The record as it stands.
    """
    if not report.signatures_missing:
        return ""
    present = [each.signed_by for each in report.signatures if each.in_effect]
    if present:
        return f"Still to sign: one person other than {' and '.join(present)}."
    return "Still to sign: two different persons."


def hidden_text(hidden: HiddenBefore) -> str:
    """
    Older damage that an examination found.

    Examples
    --------
    >>> hidden_text(HiddenBefore(clean_at_cycles=90_000))
    'Older, hidden damage was found; it was surely absent at 90,000 counted cycles.'
    >>> hidden_text(HiddenBefore())
    'Older, hidden damage was found; since when is not known.'
    """
    found = "Older, hidden damage was found"
    if hidden.clean_at_cycles is not None:
        count = units.count_text(hidden.clean_at_cycles)
        return f"{found}; it was surely absent at {count} counted cycles."
    if hidden.clean_after is not None:
        point = hidden.clean_after
        return (
            f"{found}; it was surely absent after cycle {units.count_text(point.cycle_in_run)} of "
            f"run {point.run_id} on {point.rig_id}."
        )
    return f"{found}; since when is not known."


def digest_text(sha256: str) -> str:
    """
    Beginning of a digest, enough to tell attachments apart.

    Examples
    --------
    >>> digest_text("ab12" * 16)
    'ab12ab12ab12…'
    """
    return f"{sha256[:12]}…"


def excluded_text(failure: ExcludedFailure) -> str:
    """What two persons signed about a failure, as the lot's page says it."""
    if not failure.relevant:
        count = units.count_text(failure.counted_cycles)
        return f"not relevant: a suspension at {count} counted cycles"
    return "relevant, but less grave or credited longer than it was taken for before"


def verdict_text(standing: VerdictStanding | VerdictIfCounted) -> str:
    """A verdict in words."""
    return sentences.verdict_words(standing.verdict, standing.kind)
