"""Published cases of plotting positions and the line through them."""

from collections.abc import Callable
from typing import Any, Literal

import numpy as np

from analysis.statistics.life_records import lives_with_run_outs
from analysis.statistics.rank_line import rank_line
from schemas.ranks import RankLine

Values = dict[str, Any]

# On Weibull paper x is the log life, y the plotting position.
REGRESSED: dict[str, Literal["CYCLES_ON_POSITION", "POSITION_ON_CYCLES"]] = {
    "x_on_y": "CYCLES_ON_POSITION",
    "y_on_x": "POSITION_ON_CYCLES",
}
RANK_RULES: dict[str, Literal["MEDIAN", "BENARD"]] = {"benard": "BENARD", "exact": "MEDIAN"}


def rank_regression_weibull2(inputs: Values) -> Values:
    data = inputs["data"]
    records = lives_with_run_outs(
        data["time"], np.array(data["status"]) == 1, counts=data.get("count")
    )
    line = rank_line(
        records,
        regressed=REGRESSED[inputs["direction"]],
        rank_rule=RANK_RULES[inputs["ranks"]],
    )
    assert isinstance(line, RankLine), line
    return {
        "beta": line.shape,
        "eta": line.scale_cycles,
        "r_squared": line.r_squared,
        "adjusted_ranks": list(line.positions.adjusted_ranks),
        "median_ranks": list(line.positions.positions),
    }


METHODS: dict[str, Callable[[Values], Values]] = {
    "rank_regression.weibull2": rank_regression_weibull2,
}
