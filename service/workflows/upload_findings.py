"""All rows of an upload accounted for, under the specifications that its lots have now."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

from msgspec import UNSET, structs

from analysis.reduction.summaries import reasons_missed
from schemas.lots import RigSettings
from schemas.specs import Spec
from schemas.stretches import NOT_COUNTED_REASONS
from schemas.uploads import FindingRange, Upload, UploadFinding, UploadFindings
from service.storage import lots, records, specs
from service.storage.store import Cursor
from service.storage.upload_stretches import (
    UploadedStretch,
    repeated_rows,
    stretches_of_upload,
)
from service.workflows.reduce_lot import read_lot
from service.workflows.sensing import Sensing, sensing_of
from service.workflows.stretch_summaries import stage_one_for

_MOST_RANGES = 10


def account_for(db: Cursor, upload: Upload) -> UploadFindings:
    """
    Which rows of an upload count, and why the others do not.

    Parameters
    ----------
    db : Cursor
    upload : Upload
        Receipt of the upload.

    Returns
    -------
    UploadFindings
        Rows of lots without a specification are neither counted nor refused. A
        lives table has no cycles: its rows are accounted for by the receipt.
    """
    if upload.withdrawn is not UNSET:
        return _nothing_counts(upload)
    by_lot: dict[int, list[UploadedStretch]] = defaultdict(list)
    for stretch in stretches_of_upload(db, upload.upload_id):
        by_lot[stretch.lot_key].append(stretch)
    counted, without_spec = 0, 0
    findings: list[UploadFinding] = []
    for lot_key, stretches in by_lot.items():
        spec = _current_spec(db, lot_key)
        if spec is None:
            without_spec += sum(stretch.stored_rows for stretch in stretches)
            continue
        judged = _judged(db, spec, stretches)
        counted += sum(cycles for _, misses, cycles, _, _ in judged if misses == 0)
        findings += _findings(judged, stretches)
    told = _summed(upload, counted, without_spec, findings)
    if upload.table != "CYCLES":
        return told
    duplicate, conflicting = repeated_rows(db, upload.upload_id)
    return structs.replace(told, duplicate_rows=duplicate, conflicting_rows=conflicting)


def _nothing_counts(upload: Upload) -> UploadFindings:
    """Of a withdrawn upload nothing counts, and nothing of it is a duplicate of another."""
    empty = structs.replace(upload, duplicate_rows=0, conflicting_rows=0)
    return structs.replace(_summed(empty, 0, 0, []), withdrawn_rows=upload.row_count)


def _current_spec(db: Cursor, lot_key: int) -> Spec | None:
    assignment = lots.find_assignment(db, lot_key)
    if assignment is None:
        return None
    return specs.find_version(db, assignment.spec_id, assignment.version).spec


def _judged(db: Cursor, spec: Spec, stretches: Sequence[UploadedStretch]) -> list[tuple[Any, ...]]:
    settings = _rig_settings(db, stretches)
    [lot_id] = lots.lot_ids(db, [stretches[0].lot_key])
    facts = structs.replace(read_lot(db, lot_id).facts, rigs=settings)
    corrections = facts.sensor_corrections
    groups: dict[Sensing, list[int]] = defaultdict(list)
    for each in stretches:
        sensing = sensing_of(facts, each.stretch_key, each.rig_id, each.station_no)
        groups[sensing].append(each.stretch_key)
    found: list[tuple[Any, ...]] = []
    for sensing, keys in groups.items():
        concerned = [each for key in keys for each in corrections.get(key, [])]
        stage_one = stage_one_for(db, spec, sensing, concerned)
        found += stage_one.findings(keys, stretches[0].upload_key)
    return found


def _rig_settings(db: Cursor, stretches: Iterable[UploadedStretch]) -> dict[str, RigSettings]:
    rig_ids = sorted({stretch.rig_id for stretch in stretches})
    return {rig_id: rig.settings for rig_id, rig in records.rigs_named(db, rig_ids).items()}


def _findings(
    judged: Iterable[tuple[Any, ...]], stretches: Sequence[UploadedStretch]
) -> list[UploadFinding]:
    places = {stretch.stretch_key: stretch for stretch in stretches}
    by_reason: dict[str, list[tuple[Any, ...]]] = defaultdict(list)
    for row in judged:
        if row[1]:
            by_reason[reasons_missed(row[1])[0]].append(row)
    return [
        UploadFinding(
            lot_number=stretches[0].lot_number,
            reason=reason,
            cycles=sum(row[2] for row in rows),
            ranges=[_range(row, places[row[0]]) for row in rows[:_MOST_RANGES]],
        )
        for reason, rows in sorted(by_reason.items(), key=_place_of_reason)
    ]


def _place_of_reason(finding: tuple[str, list[tuple[Any, ...]]]) -> int:
    return NOT_COUNTED_REASONS.index(finding[0])


def _range(row: tuple[Any, ...], place: UploadedStretch) -> FindingRange:
    return FindingRange(
        rig_id=place.rig_id,
        run_id=place.run_id,
        station_no=place.station_no,
        unit_serial=place.unit_serial,
        first_cycle_in_run=row[3],
        last_cycle_in_run=row[4],
        cycles=row[2],
    )


def _summed(
    upload: Upload, counted: int, without_spec: int, findings: list[UploadFinding]
) -> UploadFindings:
    reasons: dict[str, int] = defaultdict(int)
    for finding in findings:
        reasons[finding.reason] += finding.cycles
    return UploadFindings(
        upload_id=upload.upload_id,
        row_count=upload.row_count,
        counted_cycles=counted,
        not_counted_cycles=sum(reasons.values()),
        not_counted_by=dict(reasons),
        duplicate_rows=upload.duplicate_rows,
        conflicting_rows=upload.conflicting_rows,
        without_spec_rows=without_spec,
        findings=findings,
    )
