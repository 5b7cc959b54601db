"""All that can be said about a lot now: verdict, figures, both views, what is still needed."""

from collections.abc import Sequence

from msgspec import UNSET, Struct

from analysis.decision.exclusions import as_if_counted, excluded_failures, notices_of_lot
from analysis.decision.life_fit import fit_lives
from analysis.decision.lot_figures import evidence_figures, unit_line
from analysis.decision.lot_states import LotStates, states_of
from analysis.decision.options import options_needing_new_spec
from analysis.decision.places import in_places
from analysis.decision.reasons import Judgement
from analysis.decision.remaining import most_of_each_kind, ways_within_plan
from analysis.decision.requirements import requirement_result
from analysis.decision.terms import Terms, terms_of
from analysis.decision.verdict import judge, settle, worst_of
from analysis.decision.views import views_of, worst_views
from schemas.decisions import (
    Estimates,
    Evaluation,
    Provenance,
    Reason,
    RequirementResult,
    UnderHolds,
    VerdictIfCounted,
    Views,
    WayToFinish,
)
from schemas.lot_evidence import LotEvidence
from schemas.specs import Spec, SpecReference

_WITH_NEW_SPEC = ("REJECT", "CONTINUE")
"""Verdicts after which a fresh test may be asked for; a hold wants a decision first."""


class _Judged(Struct, frozen=True, kw_only=True):
    """What is said at the three states of a lot, and the verdict that follows from them."""

    headline: Judgement
    best: Judgement
    worst: Judgement
    verdict: Judgement


class _AgainstSpec(Struct, frozen=True, kw_only=True):
    """The part of an evaluation that depends on a specification."""

    lot: _Judged
    terms: list[Terms] = []
    requirements: list[RequirementResult] = []
    still_needed: list[WayToFinish] = []
    views: Views | None = None


def evaluate_lot(
    evidence: LotEvidence,
    spec: Spec | None,
    provenance: Provenance,
    spec_reference: SpecReference | None,
) -> Evaluation:
    """
    Say all that can be said about a lot now; equal arguments give equal answers.

    Parameters
    ----------
    evidence : LotEvidence
        The lives of its units with their open holds.
    spec : Spec or None
        The specification to judge by. Without one the lot is held, with estimates.
    provenance : Provenance
        What the lives and this answer rest on; passed through.
    spec_reference : SpecReference or None
        Names `spec`; passed through.

    Returns
    -------
    Evaluation
        Verdict and reasons, each requirement with both views, the verdict at both ends
        of the open holds, what is still needed within the plan, and fresh tests that a
        new specification would need.

    Raises
    ------
    OutsideDomainError
        If the specification lacks a figure that its plan needs, or a sum of target
        lives is too large for a number.

    Notes
    -----
    The verdict is computed twice more, with every hold decided in the lot's favour and
    against it. If both agree, the holds cannot change it: it is given, and the holds are
    listed. Otherwise the lot is held. Figures come from the lives as reduced, which have
    taken the signed answers to decided holds. Where persons signed that a failure counts
    less, the verdict without their signatures stands beside it.
    """
    counted = as_if_counted(evidence)
    evidence = in_places(evidence, spec)
    states = states_of(evidence)
    against = _without_spec() if spec is None else _against_spec(evidence, states, spec)
    lot, verdict = against.lot, against.lot.verdict
    options = []
    if against.terms and verdict.verdict in _WITH_NEW_SPEC:
        options = options_needing_new_spec(against.terms)
    return Evaluation(
        lot_id=evidence.lot_id,
        lot_number=evidence.lot_number,
        spec=UNSET if spec_reference is None else spec_reference,
        verdict=verdict.verdict,
        kind=UNSET if verdict.kind is None else verdict.kind,
        robust_to_open_holds=lot.best.verdict == lot.worst.verdict == verdict.verdict,
        reasons=verdict.reasons,
        marks=_marks(evidence),
        evidence=evidence_figures(evidence.lives, open_hold_count=len(states.holds)),
        requirements=against.requirements,
        views=UNSET if against.views is None else against.views,
        estimates=Estimates(weibull_fit=fit_lives(states.headline.outcomes)),
        units=[unit_line(life, against.terms) for life in evidence.lives],
        holds=states.holds,
        under_holds=_under_holds(lot),
        still_needed=against.still_needed,
        options_needing_new_spec=options,
        provenance=provenance,
        decided_holds=[hold for life in evidence.lives for hold in life.decided_holds],
        notices=notices_of_lot(evidence.lives),
        excluded_failures=excluded_failures(evidence.lives),
        verdict_if_counted=UNSET if counted is None else _if_counted(counted, spec),
    )


def _if_counted(counted: LotEvidence, spec: Spec | None) -> VerdictIfCounted:
    judged = verdict_on(counted, spec)
    return VerdictIfCounted(
        verdict=judged.verdict, kind=UNSET if judged.kind is None else judged.kind
    )


def verdict_on(evidence: LotEvidence, spec: Spec | None) -> Judgement:
    """
    The verdict alone, without figures and estimates; the same one that `evaluate_lot` gives.

    Parameters
    ----------
    evidence : LotEvidence
        The lives of the lot's units with their open holds.
    spec : Spec or None
        The specification to judge by; without one the lot is held.

    Returns
    -------
    Judgement

    Raises
    ------
    OutsideDomainError
        If the specification lacks a figure that its plan needs.
    """
    if spec is None:
        return _without_spec().lot.verdict
    evidence = in_places(evidence, spec)
    states = states_of(evidence)
    return _judge_lot(
        [_judge_requirement(states, each) for each in _terms(evidence, spec)], states
    ).verdict


def _terms(evidence: LotEvidence, spec: Spec) -> list[Terms]:
    after_data = "SPEC_AFTER_DATA" in evidence.marks
    return [terms_of(spec, each, after_data=after_data) for each in spec.requirement]


def _against_spec(evidence: LotEvidence, states: LotStates, spec: Spec) -> _AgainstSpec:
    terms = _terms(evidence, spec)
    judged = [_judge_requirement(states, each) for each in terms]
    lot = _judge_lot(judged, states)
    pairs = list(zip(terms, judged, strict=True))
    state = states.headline
    return _AgainstSpec(
        lot=lot,
        terms=terms,
        requirements=[requirement_result(state, each, said.verdict) for each, said in pairs],
        still_needed=_still_needed(states, terms, lot),
        views=worst_views([views_of(state, each, said.headline) for each, said in pairs]),
    )


def _without_spec() -> _AgainstSpec:
    held = Judgement(verdict="HOLD", reasons=[Reason(code="NO_SPEC")])
    return _AgainstSpec(lot=_Judged(headline=held, best=held, worst=held, verdict=held))


def _judge_requirement(states: LotStates, terms: Terms) -> _Judged:
    headline = judge(states.headline, terms)
    best = headline if states.best == states.headline else judge(states.best, terms)
    worst = headline if states.worst == states.headline else judge(states.worst, terms)
    verdict = settle(headline, best, worst, states.held_serials)
    return _Judged(headline=headline, best=best, worst=worst, verdict=verdict)


def _judge_lot(judged: Sequence[_Judged], states: LotStates) -> _Judged:
    """Verdict on the whole lot: all requirements must pass, and one refusal is enough."""
    headline = worst_of([each.headline for each in judged])
    best = worst_of([each.best for each in judged])
    worst = worst_of([each.worst for each in judged])
    verdict = settle(headline, best, worst, states.held_serials)
    # A requirement refused at both ends refuses the lot, whatever the holds say of another.
    refused = [each.verdict for each in judged if each.verdict.verdict == "REJECT"]
    if refused and verdict.verdict != "REJECT":
        verdict = worst_of(refused)
    return _Judged(headline=headline, best=best, worst=worst, verdict=verdict)


def _still_needed(states: LotStates, terms: Sequence[Terms], lot: _Judged) -> list[WayToFinish]:
    if lot.verdict.verdict not in ("CONTINUE", "HOLD"):
        return []
    ways = []
    if states.holds and lot.verdict.verdict == "HOLD":
        held = states.held_serials
        ways.append(WayToFinish(kind="DECIDE_HOLDS", unit_count=len(held), unit_serials=held))
    if lot.headline.verdict == "CONTINUE":
        state = states.headline
        ways += most_of_each_kind([way for each in terms for way in ways_within_plan(state, each)])
    return ways


def _under_holds(lot: _Judged) -> UnderHolds:
    best, worst = lot.best, lot.worst
    return UnderHolds(
        best=best.verdict,
        worst=worst.verdict,
        best_kind=UNSET if best.kind is None else best.kind,
        worst_kind=UNSET if worst.kind is None else worst.kind,
    )


def _marks(evidence: LotEvidence) -> list[str]:
    if evidence.registered or "UNREGISTERED" in evidence.marks:
        return evidence.marks
    return ["UNREGISTERED", *evidence.marks]
