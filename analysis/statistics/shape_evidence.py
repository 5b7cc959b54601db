"""Where an assumed Weibull shape comes from: what earlier lots of a part say about it."""

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from msgspec import UNSET, UnsetType

from analysis.checks import check_fraction
from analysis.errors import OutsideDomainError
from analysis.statistics.common_shape import (
    corrected_peak,
    free_scale_lean,
    likelihood_drop,
    shape_limit,
    shape_profile,
)
from analysis.statistics.life_records import LifeRecords
from analysis.statistics.log_likelihood import SortedLives, sort_lives
from analysis.statistics.population_tests import (
    GUIDE_ONLY_FAILURES,
    corrected_shape_test,
    group_fit,
    split_groups,
)
from schemas.estimates import NotEstimable
from schemas.populations import GroupLeftOut, RatioTest, ShapeEvidence, ShapeVerdict

LEAST_FAILURES = 10
"""Failures, beyond one per lot, from which a range is offered; see `shape_evidence`."""


class _Limits(NamedTuple):
    """Common shape and its likelihood-ratio limits, as far as there are any."""

    peak: float | None = None
    lower: float | None = None
    upper: float | None = None


class _Sorted(NamedTuple):
    """Lots that help with the shape, and the others with the reason."""

    used: dict[str, LifeRecords]
    left_out: tuple[GroupLeftOut, ...]


def shape_evidence(
    lots: Mapping[str, LifeRecords], *, confidence: float, significance: float = 0.05
) -> ShapeEvidence:
    """
    Common Weibull shape of earlier lots of a part, and whether a specification may quote it.

    Parameters
    ----------
    lots : mapping of str to LifeRecords
        Lives of each earlier lot, by name, all at one test condition and of one failure
        mode. Cycles. The lot to be judged must not be among them.
    confidence : float, 0.5 to 1 (open), keyword only
        One-sided confidence of each end of the range.
    significance : float, 0 to 1 (open), keyword only
        p-value below which the lots are said to differ in shape.

    Returns
    -------
    ShapeEvidence
        The range, or a verdict that says why the history cannot carry one.

    Raises
    ------
    OutsideDomainError
        If `confidence` or `significance` is outside its range.

    Notes
    -----
    Every lot has its own scale, so a lot without failures says nothing about the shape:
    any shape with a long enough scale explains it. It is left out (``NO_FAILURES``), as
    are lots of one unit (``ONE_UNIT_ONLY``: its scale explains its life whatever the
    shape) and lots no unit of which was seen whole (``NONE_SEEN_WHOLE``). Lots with
    failures but no fit of their own help with the shape; only the test that lots share
    it needs a fit of each.

    The likelihood-ratio limits are the shapes at which the log-likelihood, the best scale
    taken per lot, has fallen by half the chi-square quantile at ``2 C - 1`` [1]_. Each
    lot's free scale makes that likelihood lean upward by some logarithms of the shape:
    one per lot of complete lives, less where units were stopped (`free_scale_lean`). The
    range to quote is that of the likelihood without the lean. Share of 250 simulated
    histories (shape 2, one-sided C = 0.90, those with failures enough) whose low end was
    below and whose high end above the true shape; in brackets the plain limits; standard
    error 0.02:

    - 4 lots of 12, stopped when 30 % had failed: 0.85, 0.94 (0.83, 0.95)
    - 3 lots of 8, 60 %: 0.87, 0.91 (0.80, 0.95)
    - 8 lots of 4, all failed: 0.85, 0.92 (0.50, 1.00)
    - 4 lots of 12, stopped at unequal counts: 0.84, 0.95 (0.83, 0.96)
    - 4 lots of 12, inspected three times: 0.89, 0.93 (0.88, 0.94)

    The threshold of 10 failures beyond one per lot (the first failure of a lot tells its
    scale, not its shape): there the two ends lie a factor of about 2 apart at C = 0.90,
    about as far as an engineer may still plan with; with 6 it is 2.4 (simulated). It is
    also where likelihood-ratio limits of a single lot begin to hold as stated. Both
    are judgements: the range itself says how little is known.

    LOTS_DIFFER is decided by the corrected test of `population_tests`, which calls alike
    lots different in 4 to 9 % of cases and may miss lots that differ. USABLE therefore
    means: failures enough, and no sign against one shape.

    References
    ----------
    .. [1] W. Q. Meeker, L. A. Escobar, "Statistical Methods for Reliability Data", 1998,
           chapter 8. (From memory.)

    Examples
    --------
    >>> from analysis.statistics.life_records import lives_with_run_outs
    >>> L11 = lives_with_run_outs(
    ...     [61_000, 98_000, 121_000, 150_000, 160_000, 188_000, 200_000],
    ...     [True] * 6 + [False], counts=[1, 1, 1, 1, 1, 1, 6],
    ... )
    >>> L12 = lives_with_run_outs(
    ...     [74_000, 86_000, 131_000, 137_000, 155_000, 172_000, 200_000],
    ...     [True] * 6 + [False], counts=[1, 1, 1, 1, 1, 1, 2],
    ... )
    >>> L13 = lives_with_run_outs([200_000], [False], counts=[12])
    >>> evidence = shape_evidence({"L11": L11, "L12": L12, "L13": L13}, confidence=0.9)
    >>> evidence.verdict, round(evidence.shape_low, 2), round(evidence.shape_high, 2)
    ('USABLE', 1.76, 3.46)
    >>> [(lot.name, lot.reason) for lot in evidence.lots_left_out]
    [('L13', 'NO_FAILURES')]
    """
    level = check_fraction("significance", significance)
    if not check_fraction("confidence", confidence) > 0.5:
        raise OutsideDomainError("confidence", confidence, "above 0.5 and below 1")
    sorted_lots = _sort_lots(lots)
    used = sorted_lots.used
    compared, _ = split_groups(used)
    shared: RatioTest | NotEstimable = NotEstimable(reason="FEWER_THAN_TWO_GROUPS")
    if len(compared) > 1:
        shared = corrected_shape_test(compared)
    lots_sorted = _sorted_lives(used)
    plain = _limits(lots_sorted, confidence, 0.0)
    corrected = _limits(lots_sorted, confidence, _lean(used))
    verdict = _verdict(sorted_lots, corrected, shared, level)
    has_range = verdict in ("USABLE", "ONE_LOT_ONLY")
    few = any(records.failure_count <= GUIDE_ONLY_FAILURES for records in used.values())
    notes = {
        "LOW_POWER": isinstance(shared, RatioTest) and few,
        "LOTS_WITHOUT_OWN_FIT": len(compared) < len(used),
    }
    return ShapeEvidence(
        verdict=verdict,
        shape_low=_shown(corrected.lower if has_range else None),
        shape_high=_shown(corrected.upper if has_range else None),
        confidence=confidence,
        shape=_shown(plain.peak),
        lower_limit=_shown(plain.lower),
        upper_limit=_shown(plain.upper),
        corrected_shape=_shown(corrected.peak),
        lots=tuple(group_fit(group) for group in compared),
        lots_used=tuple(used),
        lots_left_out=sorted_lots.left_out,
        shared_shape_test=shared,
        significance=level,
        failure_count=sum(records.failure_count for records in used.values()),
        unit_count=sum(records.unit_count for records in used.values()),
        least_failures=LEAST_FAILURES,
        notes=tuple(code for code, applies in notes.items() if applies),
    )


def _sort_lots(lots: Mapping[str, LifeRecords]) -> _Sorted:
    """Tell lots that help with the shape from those that cannot."""
    used, left_out = {}, []
    for name, records in lots.items():
        reason = _why_not_used(records)
        if reason is None:
            used[name] = records
            continue
        left_out.append(
            GroupLeftOut(
                name=name,
                unit_count=records.unit_count,
                failure_count=records.failure_count,
                reason=reason,
            )
        )
    return _Sorted(used, tuple(left_out))


def _why_not_used(records: LifeRecords) -> str | None:
    """Reason why a lot says nothing about the shape, None where it does."""
    if records.failure_count == 0:
        return "NO_FAILURES"
    if records.unit_count == 1:
        return "ONE_UNIT_ONLY"
    return None if records.low_cycles.max() > 0.0 else "NONE_SEEN_WHOLE"


def _limits(lots: Sequence[SortedLives], confidence: float, lean: float) -> _Limits:
    """Common shape and its limits, `lean` logarithms of the shape taken off the likelihood."""
    found = corrected_peak(lots, lean) if lots else None
    if found is None:
        return _Limits()
    peak, value = found
    least = value - likelihood_drop(confidence)

    def value_at(shape: float) -> float:
        return shape_profile(lots, shape).value - lean * math.log(shape)

    return _Limits(
        peak=peak,
        lower=shape_limit(value_at, peak_shape=peak, least_value=least, upward=False),
        upper=shape_limit(value_at, peak_shape=peak, least_value=least, upward=True),
    )


def _lean(used: Mapping[str, LifeRecords]) -> float:
    """Logarithms of the shape that all lots' free scales add in excess."""
    shares = [records.failure_count / records.unit_count for records in used.values()]
    return math.fsum(free_scale_lean(share) for share in shares)


def _sorted_lives(used: Mapping[str, LifeRecords]) -> list[SortedLives]:
    """Lots for the likelihood; none where every shape, however large, fits better still."""
    bounded = any(records.low_cycles.max() > records.high_cycles.min() for records in used.values())
    return [sort_lives(records, "WEIBULL") for records in used.values()] if bounded else []


def _verdict(
    lots: _Sorted,
    corrected: _Limits,
    shared: RatioTest | NotEstimable,
    level: float,
) -> ShapeVerdict:
    """Why the history cannot carry a range, or that it can; the first that applies."""
    if not lots.used and not any(lot.failure_count for lot in lots.left_out):
        return "NO_FAILURES"
    if sum(records.failure_count - 1 for records in lots.used.values()) < LEAST_FAILURES:
        return "TOO_FEW_FAILURES"
    if corrected.lower is None or corrected.upper is None:
        return "NO_LIMITS"
    if isinstance(shared, NotEstimable):
        return "ONE_LOT_ONLY"
    return "USABLE" if shared.p_value >= level else "LOTS_DIFFER"


def _shown(figure: float | None) -> float | UnsetType:
    """A figure for the answer, absent where there is none."""
    return UNSET if figure is None else figure
