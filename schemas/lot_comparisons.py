"""Whether the units of a lot, or of several lots, are one population; and where a shape is from."""

from typing import Literal

from msgspec import Struct

from schemas.decisions import Provenance
from schemas.estimates import NotEstimable
from schemas.populations import LogRankTest, PopulationTests, ShapeEvidence

GroupedBy = Literal["STATION", "RIG", "COMPONENT_BATCH"]
"""How the units of one lot may be told apart."""
ComparedBy = Literal["STATION", "RIG", "COMPONENT_BATCH", "LOT"]


class LotGroup(Struct, frozen=True, kw_only=True):
    """A group as it was compared: its name, and how many of its units gave a life."""

    name: str
    unit_count: int
    failure_count: int


class UngroupedUnit(Struct, frozen=True, kw_only=True):
    """A unit that no group takes: it says nothing, or what it would be grouped by is unknown."""

    unit_id: str
    unit_serial: str
    reason: Literal["NO_CREDITED_CYCLES", "GROUP_NOT_RECORDED"]


class LotHomogeneity(Struct, frozen=True, kw_only=True):
    """
    Whether groups of units may share one Weibull; a finding beside the verdict.

    A unit belongs to the station or rig that it was on last; `moved_unit_count` units were
    on more than one. Grouped by lot, the names are lot numbers. `tests` assume a Weibull
    per group, `log_rank` assumes no life distribution and takes groups without a failure
    too. Finding no difference is no proof that there is none: read the notes.
    """

    lot_id: str
    lot_number: str
    compared_by: ComparedBy
    groups: list[LotGroup]
    moved_unit_count: int
    ungrouped_units: list[UngroupedUnit]
    tests: PopulationTests | NotEstimable
    log_rank: LogRankTest | NotEstimable
    answer_key: str
    provenance: list[Provenance]


class LotNotUsed(Struct, frozen=True, kw_only=True):
    """A lot of the part that gives no evidence, with the reason as a code."""

    lot_id: str
    lot_number: str
    reason: str


class PartShapeEvidence(Struct, frozen=True, kw_only=True):
    """
    What the lots of a part say about its Weibull shape, and which lots that rests on.

    Lots named in `leave_out_lot` take no part, so that the lot to be judged does not help
    to choose its own shape. `evidence.verdict` says whether a range may be quoted in a
    specification. Lots that could not be read stand in `lots_not_used` with the reason.
    """

    part_number: str
    lot_numbers: list[str]
    left_out_on_request: list[str]
    lots_not_used: list[LotNotUsed]
    evidence: ShapeEvidence | NotEstimable
    answer_key: str
    provenance: list[Provenance]
