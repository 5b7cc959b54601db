"""Published cases of tests whether lots share one Weibull."""

from collections.abc import Callable
from typing import Any

import numpy as np

from analysis.statistics.life_records import lives_with_run_outs
from analysis.statistics.population_tests import population_tests, ratio_test
from schemas.fits import LifeFit
from schemas.populations import PopulationTests, RatioTest

Values = dict[str, Any]


def lots_by_likelihood_ratio(inputs: Values) -> Values:
    tests = population_tests(
        {
            name: lives_with_run_outs(
                group["time"], np.asarray(group["status"]) == 1, counts=group.get("count")
            )
            for name, group in inputs["groups"].items()
        }
    )
    assert isinstance(tests, PopulationTests) and isinstance(tests.pooled, LifeFit)
    assert isinstance(tests.equal_test, RatioTest)
    # The product quotes no scale test where the shapes differ; the cases ask for it always.
    scale_test = ratio_test(
        tests.common_shape.log_likelihood - tests.pooled.log_likelihood, len(tests.groups) - 1
    )
    return {
        "separate": {
            group.name: {
                "eta": group.scale_cycles,
                "beta": group.shape,
                "loglik": group.log_likelihood,
            }
            for group in tests.groups
        },
        "loglik_separate": sum(group.log_likelihood for group in tests.groups),
        "loglik_common_beta": tests.common_shape.log_likelihood,
        "common_beta": tests.common_shape.shape,
        "common_beta_etas": {scale.name: scale.scale_cycles for scale in tests.common_shape.scales},
        "loglik_pooled": tests.pooled.log_likelihood,
        "pooled_eta": tests.pooled.scale_cycles,
        "pooled_beta": tests.pooled.shape,
        "lr_all_equal": tests.equal_test.statistic,
        "df_all_equal": tests.equal_test.degrees_of_freedom,
        "p_all_equal": tests.equal_test.p_value,
        "lr_common_beta": tests.shape_test.statistic,
        "df_common_beta": tests.shape_test.degrees_of_freedom,
        "p_common_beta": tests.shape_test.p_value,
        "lr_common_eta_given_common_beta": scale_test.statistic,
        "df_common_eta": scale_test.degrees_of_freedom,
        "p_common_eta": scale_test.p_value,
    }


METHODS: dict[str, Callable[[Values], Values]] = {"lr_test.lots": lots_by_likelihood_ratio}
