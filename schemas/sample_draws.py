"""A sample drawn from a lot: population, strata, spares, and what became of the units."""

from datetime import datetime
from typing import Annotated, Literal

from msgspec import UNSET, Meta, Struct, UnsetType

from schemas.dispositions import Why
from schemas.quantities import Key, Name, UnitCount

MOST_IN_POPULATION = 200_000
DrawAlgorithm = Literal["SHA256_ORDER"]
"""
SHA256_ORDER: within its stratum each serial has the SHA-256 of the UTF-8 text "seed, line feed,
stratum, line feed, serial". Serials in the order of these digests in hexadecimal: the first ones
are the sample, the next ones the spares, in that order.
"""
SubstitutionRule = Literal["NEXT_SPARE_OF_STRATUM", "NO_SUBSTITUTION"]
SeedSource = Literal["GIVEN", "SERVICE"]
SpareCount = Annotated[int, Meta(ge=0, le=100_000)]


class _Read(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """Base of everything read from a caller: unknown fields are refused."""


class SerialRange(_Read, frozen=True, kw_only=True):
    """
    Serials that are numbered: prefix, then the number with at least so many digits.

    Prefix ``A-``, first 1, last 3 and digits 3 are A-001, A-002 and A-003.
    """

    first: Annotated[int, Meta(ge=0, le=10**12)]
    last: Annotated[int, Meta(ge=0, le=10**12)]
    prefix: Annotated[str, Meta(max_length=100)] = ""
    digits: Annotated[int, Meta(ge=1, le=12)] = 1


class NewStratum(_Read, frozen=True, kw_only=True):
    """
    A part of the population and how many units are drawn from it.

    The population is told by `serials` or as `numbered`. Without strata of their own all
    units are one stratum without a component batch.
    """

    unit_count: UnitCount
    spare_count: SpareCount
    component_batch: Name | None = None
    serials: Annotated[list[Name], Meta(min_length=1, max_length=MOST_IN_POPULATION)] | None = None
    numbered: SerialRange | None = None


class NewDraw(_Read, frozen=True, kw_only=True):
    """
    Body of a draw.

    `seed` is a text that everybody can read later, say a number drawn in public; without it
    the service makes one.
    """

    draw_key: Key
    strata: Annotated[list[NewStratum], Meta(min_length=1, max_length=1000)]
    substitution: SubstitutionRule
    reason: Why
    seed: Name | None = None


class DrawnStratum(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What was drawn from one stratum; spares in the order in which they are used."""

    population_count: int
    drawn: list[str]
    spares: list[str]
    component_batch: str | UnsetType = UNSET


class Substitution(Struct, frozen=True, kw_only=True):
    """A spare that was put in the place of a void unit."""

    void_serial: str
    spare_serial: str
    reason: str
    recorded_at: datetime
    recorded_by: str


class SampleDraw(Struct, frozen=True, kw_only=True):
    """
    A recorded draw. Never edited; a second draw has another key.

    `population_sha256` is the digest of the population as it was told: of the UTF-8 text of all
    lines "stratum, tab, serial", sorted, each ended by a line feed. `after_first_row` says
    that rows of the lot had arrived before the draw.
    """

    draw_key: str
    lot_id: str
    lot_number: str
    algorithm: DrawAlgorithm
    seed: str
    seed_source: SeedSource
    population_count: int
    population_sha256: str
    substitution: SubstitutionRule
    strata: list[DrawnStratum]
    reason: str
    after_first_row: bool
    recorded_at: datetime
    recorded_by: str
    substitutions: list[Substitution]


class NewSubstitution(_Read, frozen=True, kw_only=True):
    """Body of a substitution: which void unit is replaced, and why."""

    void_serial: Name
    reason: Why
