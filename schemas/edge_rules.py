"""The edges of the pressure band: how sure a reading there is, and what hangs on it."""

from typing import Literal

from msgspec import UNSET, Struct, UnsetType

EdgeRule = Literal["PLAIN", "GUARDED"]
"""PLAIN: the reading decides. GUARDED: only what is inside the band for certain counts."""


class EdgeShare(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    Counted cycles whose peak lies within the sensor's uncertainty of an edge of the band.

    Counted are here the cycles that count where the reading decides, whatever the rule
    is, of the stretches whose uncertainty is known; `uncertainty_known` says whether
    that is every stretch with such cycles. `uncertainty_mpa` is the largest.
    """

    uncertainty_known: bool
    counted_cycles: int
    cycles_at_edge: int
    share_at_edge: float
    uncertainty_mpa: float


class UnderEdgeRules(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    How the band's edges are judged, and whether the verdict depends on it.

    The figures of the lot stand here only where the uncertainty of some sensor is on
    record; both verdicts only where it is for every cycle that counts.
    """

    rule: EdgeRule
    uncertainty_known: bool
    counted_cycles: int | UnsetType = UNSET
    cycles_at_edge: int | UnsetType = UNSET
    share_at_edge: float | UnsetType = UNSET
    uncertainty_mpa: float | UnsetType = UNSET
    verdict_under_plain: str | UnsetType = UNSET
    verdict_under_guarded: str | UnsetType = UNSET
    depends: bool | UnsetType = UNSET
