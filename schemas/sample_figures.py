"""What became of every unit of a lot's sample."""

from typing import Literal

from msgspec import UNSET, Struct, UnsetType

SampleBasis = Literal["DRAWN", "LISTED", "SEEN"]
"""DRAWN by the service; LISTED by somebody; SEEN: nobody listed one, every serial counts."""


class ExcludedUnit(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A unit of the sample that gives no evidence, why, and which spare took over."""

    unit_serial: str
    reasons: list[str]
    substituted_by: str | UnsetType = UNSET


class SampleFigures(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    The sample reconciled: drawn + substituted = tested + not started + excluded.

    `drawn_count` are the units of the sample but for spares that took a void unit's place,
    which are `substituted_count`. `outside_serials` ran without being in the sample;
    `spares_left` are in the order of their use.
    """

    basis: SampleBasis
    drawn_count: int
    substituted_count: int
    tested_count: int
    not_started_count: int
    excluded: list[ExcludedUnit]
    outside_serials: list[str] = []
    spares_left: list[str] = []
    draw_keys: list[str] = []
