"""Receipts of uploaded tables and what was found in them."""

from datetime import datetime
from typing import Literal

from msgspec import UNSET, Struct, UnsetType

TableKind = Literal["CYCLES", "LIVES"]


class LotTally(Struct, frozen=True, kw_only=True):
    """What an upload holds of one lot."""

    lot_id: str
    lot_number: str
    state: Literal["REGISTERED", "UNREGISTERED"]
    unit_count: int
    row_count: int
    stored_rows: int
    duplicate_rows: int
    conflicting_rows: int


class WithdrawnMark(Struct, frozen=True, kw_only=True):
    """Who signed that the rows of an upload count no more, when and why."""

    withdrawn_at: datetime
    withdrawn_by: str
    reason: str


class Upload(Struct, frozen=True, kw_only=True):
    """
    Receipt of an upload. row_count = stored_rows + duplicate_rows + conflicting_rows.

    The same bytes again give the same receipt. It says what was found when the upload
    arrived; `withdrawn` is added once somebody withdraws it.
    """

    upload_id: str
    sha256: str
    table: TableKind
    table_version: int
    received_at: datetime
    received_from: str
    byte_count: int
    row_count: int
    stored_rows: int
    duplicate_rows: int
    conflicting_rows: int
    lots: list[LotTally]
    withdrawn: WithdrawnMark | UnsetType = UNSET


class FindingRange(Struct, frozen=True, kw_only=True):
    """A few of the rows that a finding is about."""

    rig_id: str
    run_id: str
    station_no: int
    unit_serial: str
    first_cycle_in_run: int
    last_cycle_in_run: int
    cycles: int


class UploadFinding(Struct, frozen=True, kw_only=True):
    """Rows of an upload that do not count for one reason, under the lot's specification."""

    lot_number: str
    reason: str
    cycles: int
    ranges: list[FindingRange]


class UploadFindings(Struct, frozen=True, kw_only=True):
    """
    All rows of an upload accounted for.

    row_count = counted + not counted (by first reason) + duplicates + conflicting
    + rows of lots without a specification + withdrawn rows. It is told as things stand now:
    a row that came twice is no duplicate any more once the upload that brought it first is
    withdrawn. Of a withdrawn upload all rows are withdrawn.
    """

    upload_id: str
    row_count: int
    counted_cycles: int
    not_counted_cycles: int
    not_counted_by: dict[str, int]
    duplicate_rows: int
    conflicting_rows: int
    without_spec_rows: int
    findings: list[UploadFinding]
    withdrawn_rows: int = 0
