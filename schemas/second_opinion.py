"""A library's fits beside our own: its word on each distribution, and which is nearer the top."""

from typing import Literal

from msgspec import UNSET, Struct, UnsetType

OpinionCode = Literal["AGREES", "OURS_HIGHER", "DISAGREES", "NOT_FITTED", "NOT_COMPARED"]
NotFittedReason = Literal[
    "BRACKETED_LIVES",
    "TOO_MANY_UNITS",
    "TOO_FEW_DISTINCT_FAILURES",
    "REFUSED_BY_LIBRARY",
    "NO_FINITE_NUMBER",
]
OpinionDistribution = Literal[
    "WEIBULL", "LOGNORMAL", "EXPONENTIAL", "NORMAL", "GAMMA", "LOGLOGISTIC"
]


class DistributionOpinion(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    What the library says about one distribution, and what it is worth.

    `code` is ``AGREES`` (both log-likelihoods are equal to one part in a million),
    ``OURS_HIGHER`` (the library stopped short of the maximum that we found), ``DISAGREES``
    (the library's is higher, which would be a fault of ours), ``NOT_FITTED`` (`reason`
    says why) or ``NOT_COMPARED`` (a distribution that we do not fit, or one whose
    likelihood has no maximum: `reason` is ours then).

    `parameters` are the library's, in our words: `scale_cycles` and `shape`, or `location`
    and `spread` of log life, or `mean_cycles` and `deviation_cycles`. The library's
    log-likelihood is given as it reports it and as we compute it at its parameters; the
    higher one is compared.
    """

    distribution: OpinionDistribution
    code: OpinionCode
    parameters: dict[str, float] = {}
    library_log_likelihood: float | UnsetType = UNSET
    library_log_likelihood_recomputed: float | UnsetType = UNSET
    our_log_likelihood: float | UnsetType = UNSET
    reason: str | UnsetType = UNSET


class SecondOpinion(Struct, frozen=True, kw_only=True, tag="SECOND_OPINION"):
    """
    A library's fits, never the answer: one entry per distribution, each with its code.

    Log-likelihoods of one set of lives may be compared between distributions with the
    same number of parameters; a difference below about 2 says little.
    """

    library: str
    library_version: str
    unit_count: int
    failure_count: int
    distributions: tuple[DistributionOpinion, ...]
