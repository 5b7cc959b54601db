"""Whether a lot's verdict depends on the rule at the edges of the pressure band."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from msgspec import structs

from analysis.reduction.edge_rule import edge_share_together, other_rule, with_edge_rule
from analysis.reduction.lives import reduce_unit
from schemas.edge_rules import UnderEdgeRules
from schemas.lives import UnitLife
from schemas.specs import Spec, SpecVersion
from schemas.stretches import StretchSummary
from schemas.unit_evidence import UnitEvidence
from service.storage.lot_facts import LotFacts
from service.storage.store import Cursor
from service.workflows.decay_blocks import with_blocks_for_onset
from service.workflows.gather_evidence import gather_evidence
from service.workflows.onset_places import with_located_onsets
from service.workflows.reduce_lot import LotReading, evidence_of
from service.workflows.stretch_summaries import StretchReadings, summarise


def edges_of_lot(reading: LotReading, lives: Sequence[UnitLife]) -> UnderEdgeRules | None:
    """
    The rule at the edges and what lies there, without verdicts.

    Parameters
    ----------
    reading : LotReading
    lives : sequence of UnitLife
        Lives of the lot's units.

    Returns
    -------
    UnderEdgeRules or None
        None where no specification or no row judges an edge.
    """
    if reading.version is None or not reading.facts.stretches:
        return None
    rule = reading.version.spec.conditions.edge_rule
    share = edge_share_together(life.edge for life in lives if life.edge)
    if not share:
        return UnderEdgeRules(rule=rule, uncertainty_known=False)
    counting = [life for life in lives if life.stretches and life.totals.counted_cycles]
    return UnderEdgeRules(
        rule=rule,
        uncertainty_known=share.uncertainty_known and all(life.edge for life in counting),
        counted_cycles=share.counted_cycles,
        cycles_at_edge=share.cycles_at_edge,
        share_at_edge=share.share_at_edge,
        uncertainty_mpa=share.uncertainty_mpa,
    )


def with_verdicts(edges: UnderEdgeRules, own: str, other: str) -> UnderEdgeRules:
    """The answer with the verdict under the specification's own rule and under the other one."""
    guarded, plain = (own, other) if edges.rule == "GUARDED" else (other, own)
    return structs.replace(
        edges,
        verdict_under_plain=plain,
        verdict_under_guarded=guarded,
        depends=own != other,
    )


def under_other_rule(
    db: Cursor, reading: LotReading, lives: Sequence[UnitLife], *, keep: bool
) -> tuple[LotReading, list[UnitLife]]:
    """
    The lot as it would be read, and its lives, if the other rule held at the edges.

    Parameters
    ----------
    db : Cursor
    reading : LotReading
        Under a specification.
    lives : sequence of UnitLife
        The lives under its own rule.
    keep : bool, keyword only
        Whether to store what had to be computed (needs a write transaction).

    Notes
    -----
    Only stretches are judged again in which the rules differ; where there are none, the
    lives stand. A signed answer to a hold counts there too as long as what it was signed on
    is the same under both rules; else that hold is open again.
    """
    assert reading.version is not None
    spec = reading.version.spec
    other = _version_with(reading.version, with_edge_rule(spec, other_rule(spec)))
    asked = structs.replace(reading, version=other)
    if not _may_differ(db, reading, keep=keep):
        return asked, [*lives]

    def gather(db: Cursor, facts: LotFacts, _: Spec, *, keep: bool) -> list[UnitEvidence]:
        return _gathered(db, facts, (spec, other.spec), keep=keep)

    evidence = evidence_of(db, asked, keep=keep, gather=gather)
    return asked, [reduce_unit(each, other.spec, reading.facts.answers) for each in evidence]


def _version_with(version: SpecVersion, spec: Spec) -> SpecVersion:
    return structs.replace(version, spec=spec)


def _may_differ(db: Cursor, reading: LotReading, *, keep: bool) -> bool:
    facts = reading.facts
    if facts.sensor_corrections:
        return True
    return bool(_touched(summarise(db, facts, reading.spec, keep=keep)))


def _gathered(
    db: Cursor, facts: LotFacts, rules: tuple[Spec, Spec], *, keep: bool
) -> list[UnitEvidence]:
    """Evidence under the second of two rules; what the first judges alike is not judged again."""
    own, other = rules
    readings = _read(db, facts, own, keep=keep)
    touched = _touched(readings)
    concerned = [each for each in facts.stretches if each.stretch_key in touched]
    if concerned:
        part = structs.replace(facts, stretches=concerned)
        readings |= _read(db, part, other, keep=keep)
    return with_located_onsets(db, facts, other, gather_evidence(db, facts, other, readings))


def _read(db: Cursor, facts: LotFacts, spec: Spec, *, keep: bool) -> dict[int, StretchReadings]:
    readings = summarise(db, facts, spec, keep=keep)
    return with_blocks_for_onset(db, facts, spec, readings, keep=keep)


def _touched(readings: Mapping[int, StretchReadings]) -> set[int]:
    """Stretches in which the two rules judge some cycle in different ways."""
    return {key for key, each in readings.items() if any(lap.guarded_cycles for lap in _laps(each))}


def _laps(readings: StretchReadings) -> Iterator[StretchSummary]:
    for variant in (readings.as_stored, readings.kindest, readings.by_clock, readings.harshest):
        yield from variant
