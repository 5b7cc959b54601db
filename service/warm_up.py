"""Loads what the first request needs, so that nobody waits for an import."""

from __future__ import annotations

import importlib

_MODULES = ("numpy", "scipy.special", "scipy.optimize")


def warm_up() -> None:
    """
    Load the numerical libraries and run one tiny computation with each.

    Takes a second or two the first time; call it in a thread. SciPy's
    distributions and the referees (statsmodels, reliability) are not needed by
    any request and are not loaded.
    """
    numpy, special, optimize = (importlib.import_module(name) for name in _MODULES)
    special.betaincinv(1.0, 2.0, 0.5)
    special.gammaincinv(1.0, 0.5)
    optimize.brentq(lambda x: x - 0.5, 0.0, 1.0)
    numpy.asarray([1.0, 2.0]).sum()
