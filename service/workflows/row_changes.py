"""What a record did to the rows of a lot, for whoever asks what rested on them."""

from __future__ import annotations

from msgspec import Struct

from schemas.decisions import RowChange


class UnitsChanged(Struct, frozen=True, kw_only=True):
    """
    A record that changed what the rows of some units of a lot say.

    `entry_no` is the record's number in the sequence of all facts (`fact_numbers`), which
    decisions are numbered by too: what is later has the higher number. `unit_ids` are the
    units whose rows it corrected, moved or withdrew, also of rows that nobody decided on.
    """

    entry_no: int
    change: RowChange
    unit_ids: frozenset[str]
