"""What the first request needs is loaded beforehand, and nothing else."""

import sys

from service.warm_up import warm_up


def test_the_numerical_libraries_are_loaded_and_work() -> None:
    warm_up()
    assert {"numpy", "scipy.special", "scipy.optimize"} <= sys.modules.keys()
