"""A second opinion on life fits: the fitters of the library `reliability`, compared with ours.

The library is imported when it is called, because that takes seconds; its prints, warnings
and numpy settings stay inside. Its word is never the answer: on about one rig-like lot in
fifteen its Weibull fit stops short of the maximum and says nothing.
"""

import importlib
import math
import warnings
from collections.abc import Mapping
from typing import Any, NamedTuple, cast

import numpy as np
from msgspec import UNSET

from analysis.checks import FloatArray
from analysis.errors import AnalysisError
from analysis.statistics.life_records import LifeRecords
from analysis.statistics.log_likelihood import log_likelihood
from schemas.estimates import NotEstimable
from schemas.fits import Distribution, LifeFit
from schemas.second_opinion import (
    DistributionOpinion,
    NotFittedReason,
    OpinionDistribution,
    SecondOpinion,
)

MOST_UNITS = 20_000
"""The library wants one number per unit; beyond this many it takes too long to be asked."""

EQUAL_TO = 1e-6
"""Relative difference of log-likelihoods up to which two fits say the same."""

_FITTERS: dict[OpinionDistribution, str] = {
    "WEIBULL": "Fit_Weibull_2P",
    "LOGNORMAL": "Fit_Lognormal_2P",
    "EXPONENTIAL": "Fit_Exponential_1P",
    "NORMAL": "Fit_Normal_2P",
    "GAMMA": "Fit_Gamma_2P",
    "LOGLOGISTIC": "Fit_Loglogistic_2P",
}
_COMPARED: frozenset[str] = frozenset({"WEIBULL", "LOGNORMAL", "EXPONENTIAL"})
_PRINTING_PARTS = ("Fitters", "Utils", "Probability_plotting")


class _Found(NamedTuple):
    """A fit of the library: its parameters in our words, and its log-likelihood."""

    parameters: dict[str, float]
    log_likelihood: float


def second_opinion(
    records: LifeRecords, our_fits: Mapping[Distribution, LifeFit | NotEstimable]
) -> SecondOpinion:
    """
    What the library makes of the same lives, distribution by distribution.

    Parameters
    ----------
    records : LifeRecords
        Exact and unbroken lives. With a bracket every entry is ``NOT_FITTED``. Cycles.
    our_fits : mapping of distribution to LifeFit or NotEstimable
        Our fits of these very lives; a distribution that is left out is not compared.

    Returns
    -------
    SecondOpinion
        It never raises for what the library raises, and never stands in for our fit.
        One call at a time: warnings are silenced for the whole process meanwhile.

    Notes
    -----
    The Weibull with a threshold is left out: its likelihood has no upper end as the
    threshold nears the first failure, and the library answers with a point on that way.

    Examples
    --------
    Three failures and seven run-outs: the library's Weibull stops short.

    >>> from analysis.statistics.life_fit import life_fit
    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> lives = lives_with_run_outs(
    ...     [4_568, 49_576, 70_159, 71_733],
    ...     [True, True, True, False],
    ...     counts=[1, 1, 1, 7],
    ... )
    >>> opinion = second_opinion(lives, {"WEIBULL": life_fit(lives, "WEIBULL")})
    >>> weibull = opinion.distributions[0]
    >>> weibull.code, weibull.distribution
    ('OURS_HIGHER', 'WEIBULL')
    >>> round(weibull.our_log_likelihood - weibull.library_log_likelihood, 2)
    0.61
    """
    reason = _why_not_asked(records)
    library = None if reason else _library()
    return SecondOpinion(
        library="reliability",
        library_version=library.version if library else "",
        unit_count=records.unit_count,
        failure_count=records.failure_count,
        distributions=tuple(
            _opinion(
                distribution,
                reason or _fit(cast(_Library, library), distribution, records),
                records,
                our_fits.get(cast(Distribution, distribution)),
            )
            for distribution in _FITTERS
        ),
    )


def _why_not_asked(records: LifeRecords) -> NotFittedReason | None:
    """Why the library is not asked at all, if so."""
    if records.has_brackets:
        return "BRACKETED_LIVES"
    return "TOO_MANY_UNITS" if records.unit_count > MOST_UNITS else None


class _Library(NamedTuple):
    """The imported library."""

    fitters: Any
    version: str


def _library() -> _Library:
    """Import the library; neither numpy's error state nor the warning filters change by it."""
    with np.errstate(), warnings.catch_warnings():
        fitters = importlib.import_module("reliability.Fitters")
        for name in _PRINTING_PARTS:
            # It prints what it should warn of. A name of the module hides the built-in one
            # from the library alone, in every thread.
            vars(importlib.import_module(f"reliability.{name}"))["print"] = _say_nothing
        return _Library(fitters, str(importlib.import_module("reliability").__version__))


def _say_nothing(*_: object, **__: object) -> None:
    """In place of the library's print."""


def _fit(
    library: _Library, distribution: OpinionDistribution, records: LifeRecords
) -> _Found | NotFittedReason:
    """One fit of the library with its own settings, or why there is none."""
    failed = np.isfinite(records.high_cycles)
    least_distinct = 1 if distribution == "EXPONENTIAL" else 2
    if int(failed.sum()) < least_distinct:
        return "TOO_FEW_DISTINCT_FAILURES"
    counts = records.counts.astype(np.int64)
    unbroken = np.repeat(records.low_cycles[~failed], counts[~failed])
    try:
        with np.errstate(all="ignore"), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            fit = getattr(library.fitters, _FITTERS[distribution])(
                failures=np.repeat(records.low_cycles[failed], counts[failed]),
                right_censored=_or_none(unbroken),
                show_probability_plot=False,
                print_results=False,
            )
            found = _Found(_parameters(distribution, fit), float(fit.loglik))
    except Exception:  # whatever a library raises is its refusal, and no fault of the request
        return "REFUSED_BY_LIBRARY"
    finite = all(math.isfinite(each) for each in found.parameters.values())
    return found if finite and math.isfinite(found.log_likelihood) else "NO_FINITE_NUMBER"


def _or_none(unbroken: FloatArray) -> FloatArray | None:
    return unbroken if unbroken.size else None


def _parameters(distribution: OpinionDistribution, fit: Any) -> dict[str, float]:
    """The library's parameters in our words."""
    match distribution:
        case "EXPONENTIAL":
            return {"scale_cycles": 1.0 / float(fit.Lambda)}
        case "LOGNORMAL":
            return {"location": float(fit.mu), "spread": float(fit.sigma)}
        case "NORMAL":
            return {"mean_cycles": float(fit.mu), "deviation_cycles": float(fit.sigma)}
        case _:
            return {"scale_cycles": float(fit.alpha), "shape": float(fit.beta)}


def _opinion(
    distribution: OpinionDistribution,
    found: _Found | NotFittedReason,
    records: LifeRecords,
    ours: LifeFit | NotEstimable | None,
) -> DistributionOpinion:
    """One entry: the library's fit against ours."""
    our_value = ours.log_likelihood if isinstance(ours, LifeFit) else UNSET
    if not isinstance(found, _Found):
        return DistributionOpinion(
            distribution=distribution,
            code="NOT_FITTED",
            our_log_likelihood=our_value,
            reason=found,
        )
    recomputed = _recomputed(distribution, found, records)
    highest = max(found.log_likelihood, recomputed or found.log_likelihood)
    return DistributionOpinion(
        distribution=distribution,
        code="NOT_COMPARED" if our_value is UNSET else _code(our_value, highest),
        parameters=found.parameters,
        library_log_likelihood=found.log_likelihood,
        library_log_likelihood_recomputed=UNSET if recomputed is None else recomputed,
        our_log_likelihood=our_value,
        reason=ours.reason if isinstance(ours, NotEstimable) else UNSET,
    )


def _code(ours: float, theirs: float) -> Any:
    """Which of two log-likelihoods of one set of lives is higher, if any."""
    slack = EQUAL_TO * max(1.0, abs(ours))
    if theirs > ours + slack:
        return "DISAGREES"
    return "OURS_HIGHER" if ours > theirs + slack else "AGREES"


def _recomputed(
    distribution: OpinionDistribution, found: _Found, records: LifeRecords
) -> float | None:
    """Log-likelihood at the library's parameters by our formula; None where we have none."""
    if distribution not in _COMPARED:
        return None
    given = found.parameters
    try:
        value = log_likelihood(
            records,
            cast(Distribution, distribution),
            location=given["location"] if "location" in given else math.log(given["scale_cycles"]),
            spread=given["spread"] if "spread" in given else 1.0 / given.get("shape", 1.0),
        )
    except (AnalysisError, ValueError, ArithmeticError):
        return None
    return value if math.isfinite(value) else None
