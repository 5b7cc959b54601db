"""The table of proven risks: how often each kind of plan accepts lots at the requirement."""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files
from typing import Any

import msgspec


class ProvenRisk(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """
    One plan of the table.

    `plan` is what a specification says of it; null for a rule that nobody can approve.
    `exact` is the chance of accepting a lot at the requirement, as a fraction. `accepted`
    are the simulated lots that it accepts, by how the lots are in truth.
    """

    name: str
    plan: dict[str, Any] | None
    exact: float | None
    accepted: dict[str, int]


class ProvenRisks(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The whole table: `lots` were simulated for each cell, from a published seed."""

    lots: int
    seed: int
    plans: list[ProvenRisk]


@lru_cache(maxsize=1)
def proven_risks() -> ProvenRisks:
    """The table that stands in the package, as the benchmark wrote it."""
    data = files("service.pages").joinpath("proven_risks.json").read_bytes()
    return msgspec.json.decode(data, type=ProvenRisks)


def share_text(risk: ProvenRisk, truth: str, lots: int) -> str:
    """
    Share of simulated lots that a plan accepts, in percent; never 0 or 100 unless it is.

    Examples
    --------
    >>> some = ProvenRisk(name="A", plan=None, exact=None, accepted={"T": 1_966, "U": 19_999})
    >>> share_text(some, "T", 20_000), share_text(some, "U", 20_000)
    ('9.8', 'above 99.9')
    """
    count = risk.accepted[truth]
    percent = round(100.0 * count / lots, 1)
    if percent == 0.0 and count > 0:
        return "below 0.1"
    if percent == 100.0 and count < lots:
        return "above 99.9"
    return f"{percent:.1f}"


def error_text(risk: ProvenRisk, truth: str, lots: int) -> str:
    """
    Standard error of that share, in percent.

    Examples
    --------
    >>> some = ProvenRisk(name="A", plan=None, exact=None, accepted={"T": 2_000})
    >>> error_text(some, "T", 20_000)
    '0.21'
    """
    share = risk.accepted[truth] / lots
    return f"{100.0 * (share * (1.0 - share) / lots) ** 0.5:.2f}"


def exact_text(risk: ProvenRisk) -> str:
    """
    The exact chance in percent; a dash where no plan stands behind the rule.

    Examples
    --------
    >>> exact_text(ProvenRisk(name="A", plan=None, exact=0.0994, accepted={}))
    '9.94'
    """
    return "–" if risk.exact is None else f"{100.0 * risk.exact:.2f}"
