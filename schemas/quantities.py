"""Bounded scalars that every other word is built from."""

from datetime import datetime
from typing import Annotated

from msgspec import Meta

MOST_CYCLES = 2**53
"""Largest cycle count that a double holds exactly."""

Fraction = Annotated[float, Meta(gt=0, lt=1)]
Reliability = Annotated[
    float,
    Meta(gt=0, lt=1, description="Fraction of units that must reach the target cycles."),
]
Confidence = Annotated[
    float, Meta(gt=0, lt=1, description="One-sided confidence, a fraction, never percent.")
]
LimitConfidence = Annotated[
    float,
    Meta(
        gt=0.5,
        lt=1,
        description="One-sided confidence of each limit alone, above 0.5; never percent.",
    ),
]
Shape = Annotated[float, Meta(ge=0.05, le=50, description="Weibull shape (beta).")]
CycleCount = Annotated[int, Meta(ge=0, le=MOST_CYCLES)]
PositiveCycles = Annotated[int, Meta(ge=1, le=MOST_CYCLES)]
UnitCount = Annotated[int, Meta(ge=1, le=1_000_000)]
FailureCount = Annotated[int, Meta(ge=0, le=100_000)]
LotSize = Annotated[
    int, Meta(ge=1, le=1_000_000_000, description="Units of the lot before sampling.")
]
PressureMpa = Annotated[float, Meta(ge=-1, le=10_000)]
PressureStepMpa = Annotated[float, Meta(ge=0, le=10_000)]
Seconds = Annotated[float, Meta(ge=0, le=1e9)]
DegreesC = Annotated[float, Meta(ge=-273.15, le=2_000)]
Hours = Annotated[float, Meta(gt=0, le=1e6)]
LeakClass = Annotated[
    int, Meta(ge=0, le=5, description="Visual leak class, 0 dry to 5 measurable stream.")
]
Name = Annotated[
    str,
    Meta(
        min_length=1,
        max_length=200,
        pattern=r"^[^\x00-\x1f\x7f]*[^\s\x00-\x1f\x7f][^\x00-\x1f\x7f]*$",
        description="Text without control characters that is more than white space.",
    ),
]
Key = Annotated[
    str,
    Meta(
        min_length=1,
        max_length=120,
        pattern=r"^[A-Za-z0-9._:\-]+$",
        description="Opaque key of letters, digits and . _ : -",
    ),
]
Text = Annotated[str, Meta(max_length=4_000)]
Instant = Annotated[datetime, Meta(tz=True, description="Instant with its zone (RFC 3339).")]
