"""Lots on which general Weibull fitters stop short, refuse or answer where nothing is to answer."""

from typing import NamedTuple

import numpy as np

from analysis.checks import BoolArray, FloatArray


class LifeLot(NamedTuple):
    """Counted cycles of each unit and whether it failed there."""

    lives: FloatArray
    failed: BoolArray


# name: units, failures, shape, scale
FAMILIES = {
    "1 failure of 30": (30, 1, 2.0, 1e5),
    "2 of 30": (30, 2, 2.0, 1e5),
    "2 of 500": (500, 2, 2.0, 1e5),
    "3 of 10": (10, 3, 2.0, 1e5),
    "5 of 20, shape 0.4": (20, 5, 0.4, 1e6),
    "5 of 20, shape 15": (20, 5, 15.0, 1e5),
    "5 of 20, counts to 1e11": (20, 5, 2.0, 1e11),
    "5 of 20, ties (scale 20)": (20, 5, 2.0, 20.0),
    "5 of 5": (5, 5, 2.0, 1e5),
    "10 of 4082, shape 0.2": (4082, 10, 0.2, 1e18),
}

WITHOUT_MAXIMUM = {
    "no failure": LifeLot(np.full(10, 1e6), np.zeros(10, dtype=bool)),
    "failures only where the rest stopped": LifeLot(np.full(10, 1e6), np.arange(10) < 3),
    "all failed at one count": LifeLot(np.full(3, 5e5), np.ones(3, dtype=bool)),
    "the failure outlived the rest": LifeLot(
        np.array([4e5, 6e5, 9e5]), np.array([False, False, True])
    ),
    "one unit, failed": LifeLot(np.array([1e3]), np.array([True])),
}


def few_failures_among_many() -> LifeLot:
    """Data set "electronics" of the library reliability 0.9.0: 10 failures of 4,082 units."""
    failures = [1, 73, 123, 146, 179, 181, 191, 199, 216, 220]
    run_outs = np.repeat([44_798, 62_715, 62_716, 80_632, 81_474], [817, 823, 804, 813, 815])
    lives = np.concatenate([failures, run_outs]).astype(float)
    return LifeLot(lives, np.arange(lives.size) < 10)


def draw_hard_lots(each: int, *, seed: int) -> dict[str, list[LifeLot]]:
    """So many lots of each family, stopped between two failures; counts are whole cycles."""
    rng = np.random.default_rng(seed)
    drawn = {
        name: [_draw(rng, *figures) for _ in range(each)] for name, figures in FAMILIES.items()
    }
    drawn["10 of 4082, as published"] = [few_failures_among_many()]
    return drawn


def _draw(
    rng: np.random.Generator, units: int, failures: int, shape: float, scale: float
) -> LifeLot:
    while True:
        lives = np.sort(scale * rng.weibull(shape, units))
        stop = lives[-1] if failures == units else (lives[failures - 1] + lives[failures]) / 2
        counted = np.maximum(1.0, np.ceil(np.minimum(lives, stop)))
        failed = lives <= stop
        if counted[failed].min() < counted.max():
            return LifeLot(counted, failed)
