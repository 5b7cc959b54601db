"""One population or several, and what earlier lots say about a shape, over HTTP."""

from __future__ import annotations

from typing import Annotated

from litestar import Response, get
from litestar.params import FromPath, FromQuery, HeaderParameter, QueryParameter

from schemas.lot_comparisons import GroupedBy, LotHomogeneity, PartShapeEvidence
from schemas.quantities import LimitConfidence, Name
from service.api.answers import tagged, unchanged
from service.api.given import Workflows
from service.auth import requires

_TAGS = ["Populations"]

By = Annotated[
    GroupedBy | None, QueryParameter(description="How the units of the lot are told apart.")
]
OtherLots = Annotated[
    list[str] | None,
    QueryParameter(name="other_lot", description="Id of a lot to compare with; may be repeated."),
]
LeftOut = Annotated[
    list[str] | None,
    QueryParameter(
        name="leave_out_lot", description="Id of a lot that takes no part; may be repeated."
    ),
]
PartNumber = Annotated[Name, QueryParameter(description="Part whose lots are read.")]
IfNoneMatch = Annotated[
    str | None, HeaderParameter(name="If-None-Match", description="ETag that the caller has.")
]


@get(
    "/lots/{lot_id:str}/homogeneity",
    operation_id="read_lot_homogeneity",
    summary="Compare stations, rigs, batches or lots",
    tags=_TAGS,
    guards=[requires("lots.read")],
    responses=unchanged(),
)
async def read_lot_homogeneity(
    lot_id: FromPath[str],
    workflows: Workflows,
    by: By = None,
    other_lots: OtherLots = None,
    if_none_match: IfNoneMatch = None,
) -> Response[LotHomogeneity]:
    """
    Whether groups of units may share one Weibull: by station, rig or component batch of the
    lot, or the lot against other lots. Give exactly one of `by` and `other_lot`.
    """
    answer = await workflows.populations.homogeneity(lot_id, by, other_lots or [])
    return tagged(answer, answer.answer_key, if_none_match)


@get(
    "/shape-evidence",
    operation_id="read_shape_evidence",
    summary="Read which Weibull shape the lots of a part show",
    tags=_TAGS,
    guards=[requires("lots.read")],
    responses=unchanged(),
    opt={"problems": ["outside-domain"]},
)
async def read_shape_evidence(
    workflows: Workflows,
    part_number: PartNumber,
    confidence: FromQuery[LimitConfidence],
    leave_out_lots: LeftOut = None,
    if_none_match: IfNoneMatch = None,
) -> Response[PartShapeEvidence]:
    """
    Range of the shape with the lots it rests on, or why the history cannot carry one.

    Leave out the lot that is to be judged: it must not help to choose its own shape.
    """
    answer = await workflows.populations.shape_evidence(
        part_number, confidence=confidence, leave_out_lots=leave_out_lots or []
    )
    return tagged(answer, answer.answer_key, if_none_match)


HANDLERS = [read_lot_homogeneity, read_shape_evidence]
