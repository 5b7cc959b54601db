"""The SQL texts of stage one, as shipped: rules belong to the mathematics, files to the service."""

from __future__ import annotations

from functools import lru_cache
from importlib import resources

from analysis.reduction.rules import STAGE_ONE_TEXTS


@lru_cache(maxsize=1)
def stage_one_texts() -> dict[str, str]:
    """
    SQL texts of stage one by name.

    Returns
    -------
    dict of str to str
        Text of each name in `analysis.reduction.rules.STAGE_ONE_TEXTS`; not to be changed.

    Examples
    --------
    >>> "judged_rows" in stage_one_texts()["judged"]
    True
    """
    folder = resources.files("analysis.reduction")
    return {name: (folder / f"{name}.sql").read_text("utf-8") for name in STAGE_ONE_TEXTS}
