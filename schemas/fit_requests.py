"""Lives and questions that a caller sends to have life distributions fitted."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import UNSET, Meta, Struct, UnsetType

from schemas.fit_limits import ResamplingKind
from schemas.fits import Distribution
from schemas.quantities import MOST_CYCLES, Fraction, LimitConfidence, Name

MOST_LIVES = 5_000
"""Entries of one request; units that share a life are one entry with their count."""
MOST_POINTS = 200
"""Counts, or fractions, at which one request may ask for reliability and B lives."""
MOST_RESAMPLES = 20_000

LifeEnding = Literal["FAILED", "FAILED_BETWEEN", "RUN_OUT", "SUSPENDED", "RUNNING"]
"""As in an evaluation; the last three are one thing to a fit: not failed so far."""

LEAST_CYCLES = 1e-6
"""Least life that is taken: lives may be given in millions of cycles, down to a single one."""

LifeCycles = Annotated[
    float,
    Meta(ge=LEAST_CYCLES, le=MOST_CYCLES, description="Cycles, or a multiple of them; above 0."),
]
LowCycles = Annotated[
    float,
    Meta(ge=0, le=MOST_CYCLES, description="Last count without a failure; 0 if never checked."),
]
AtCycles = Annotated[
    list[LifeCycles],
    Meta(max_length=MOST_POINTS, description="Counts at which the reliability is wanted."),
]
FailedFractions = Annotated[
    list[Fraction],
    Meta(max_length=MOST_POINTS, description="Fractions failed: 0.1 asks for the B10 life."),
]
UnitsAlike = Annotated[
    int, Meta(ge=1, le=1_000_000, description="Units that share this life and ending.")
]


class ObservedLife(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """
    One life, or several units that share it.

    FAILED_BETWEEN has `cycles_low` and `cycles_high`, every other ending has `cycles`.
    """

    ending: LifeEnding
    cycles: LifeCycles | UnsetType = UNSET
    cycles_low: LowCycles | UnsetType = UNSET
    cycles_high: LifeCycles | UnsetType = UNSET
    count: UnitsAlike = 1
    failure_mode: Name | UnsetType = UNSET


class BootstrapQuestion(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Limits by fits to lots drawn again; the same seed gives the same answer."""

    kind: ResamplingKind
    resample_count: Annotated[int, Meta(ge=100, le=MOST_RESAMPLES)]
    seed: Annotated[int, Meta(ge=0, le=MOST_CYCLES)]


class FitQuestion(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is to be said about a set of lives."""

    distributions: Annotated[list[Distribution], Meta(min_length=1, max_length=3)]
    confidence: LimitConfidence
    at_cycles: AtCycles = []
    fractions: FailedFractions = []
    bootstrap: BootstrapQuestion | UnsetType = UNSET
    second_opinion: bool = False


class NewFit(FitQuestion, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Body of a fit: the lives and what is asked about them. Nothing of it is stored."""

    lives: Annotated[list[ObservedLife], Meta(min_length=1, max_length=MOST_LIVES)]
