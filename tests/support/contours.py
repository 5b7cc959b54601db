"""Lots whose likelihood contours are looked at, and the contours' points written out."""

import math
from typing import Any

import numpy as np

from analysis.statistics.contour_extremes import Questions
from analysis.statistics.life_fit import life_fit
from analysis.statistics.life_records import LifeRecords, life_records, lives_with_run_outs
from analysis.statistics.likelihood_contour import Contour, likelihood_contour
from analysis.statistics.likelihood_surface import likelihood_surface
from analysis.statistics.log_likelihood import sort_lives
from schemas.fits import LifeFit

WHOLE = math.inf
ONE_OF_500 = lives_with_run_outs([48, 50], [True, False], counts=[1, 499])
LOT = lives_with_run_outs([30, 50, 80, 90], [True, True, False, True], counts=[1, 2, 5, 1])
ONCE = life_records([0, 50, 0, 100], [50, WHOLE, 100, WHOLE], counts=[2, 8, 4, 6])
SHAPE = Questions(np.zeros(1), np.ones(1), np.zeros(1), np.zeros(1, dtype=bool))
LIFE = Questions(np.ones(1), np.zeros(1), np.array([-2.25]), np.ones(1, dtype=bool))


def contour_of(records: LifeRecords, distribution: Any, depth: float) -> Contour:
    fit, lives = life_fit(records, distribution), sort_lives(records, distribution)
    assert isinstance(fit, LifeFit)
    surface = likelihood_surface(lives, typical_spread=fit.spread)
    peak = ((fit.location - lives.center) / fit.spread, 1.0 / fit.spread)
    return likelihood_contour(surface, peak, depth)


def points_on(contour: Contour) -> tuple[np.ndarray, np.ndarray]:
    root_a, mixed, root_b = contour.axes
    x, y = contour.radii * np.cos(contour.angles), contour.radii * np.sin(contour.angles)
    return contour.peak[0] + root_a * x, contour.peak[1] + mixed * x + root_b * y
