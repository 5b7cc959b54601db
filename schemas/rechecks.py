"""Recorded verdicts computed again by the program as it is installed."""

from msgspec import UNSET, Struct, UnsetType

from schemas.decisions import RefusalKind, Verdict


class Recheck(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    One recorded verdict and what this program says of the same evidence.

    `changed_units` are the serials whose lives are others now, `changed_figures` the parts
    of the evaluation that are. `not_rechecked` says why it was not computed again.
    """

    decision_id: str
    lot_number: str
    recorded_verdict: Verdict
    recorded_method_version: int
    recorded_reduction_version: int
    agrees: bool
    recorded_kind: RefusalKind | UnsetType = UNSET
    verdict: Verdict | UnsetType = UNSET
    kind: RefusalKind | UnsetType = UNSET
    changed_units: list[str] = []
    changed_figures: list[str] = []
    not_rechecked: str | UnsetType = UNSET


class RecheckReport(Struct, frozen=True, kw_only=True):
    """Every recorded verdict under the installed version, in the order of recording."""

    method_version: int
    reduction_version: int
    decision_count: int
    differing_count: int
    decisions: list[Recheck]
