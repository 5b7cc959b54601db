"""Plotting positions of a lot's failures, and a straight line drawn through them."""

from typing import Literal

from msgspec import Struct

RankRule = Literal["MEDIAN", "BENARD"]
"""MEDIAN: median of the order statistic, by the beta distribution. BENARD: its approximation
``(rank - 0.3) / (units + 0.4)``."""

Regressed = Literal["CYCLES_ON_POSITION", "POSITION_ON_CYCLES"]
"""What is taken to scatter: the log cycles about the line (CYCLES_ON_POSITION, deviations
along the cycle axis are least) or the plotting position (POSITION_ON_CYCLES)."""


class PlottingPositions(Struct, frozen=True, kw_only=True, tag="PLOTTING_POSITIONS"):
    """
    Where the failures of a lot stand on probability paper; one entry per failed unit.

    `adjusted_ranks` are the places in order of failure, raised for units that stopped
    before; between 1 and `unit_count`, mostly not whole. `positions` are the fractions
    failed that go with them, strictly between 0 and 1. All in order of life.
    """

    rank_rule: RankRule
    life_cycles: tuple[float, ...]
    adjusted_ranks: tuple[float, ...]
    positions: tuple[float, ...]
    unit_count: int
    failure_count: int


class RankLine(Struct, frozen=True, kw_only=True, tag="RANK_LINE"):
    """
    Weibull line by least squares through plotting positions: a line for the eye.

    It carries no bounds, and none may be hung on it: neither the deviations of ranks nor
    a likelihood at this line give honest ones. `r_squared` is the squared correlation of
    the points, the same both ways, and no test of fit by itself. Scale (eta) in cycles.
    """

    regressed: Regressed
    positions: PlottingPositions
    scale_cycles: float
    shape: float
    r_squared: float
    use: Literal["LINE_FOR_THE_EYE"] = "LINE_FOR_THE_EYE"
    bounds: Literal["NONE"] = "NONE"
