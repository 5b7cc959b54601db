"""Which limits of a fit to trust at a number of failures."""

from analysis.checks import check_count
from schemas.fit_limits import AdviceReason, LimitAdvice, LimitCoverage, LimitMethod

NOMINAL_CONFIDENCE = 0.90
"""One-sided confidence whose true coverage the table holds."""
FEW_FAILURES = 10
"""Below this many failures neither limit covers what it says; a warning goes with it."""
CLOSE_ENOUGH = 0.02
"""Shortfall of the coverage that still passes for none: then the quicker limits do."""

_LOTS = 20_000


def _row(
    unit_count: int,
    expected_failure_count: int,
    coverages: tuple[float, float],
    without_maximum_share: float,
) -> LimitCoverage:
    """A row with the standard errors of its simulated shares."""
    lot_count = round(_LOTS * (1.0 - without_maximum_share))
    errors = [round((share * (1.0 - share) / lot_count) ** 0.5, 4) for share in coverages]
    return LimitCoverage(
        unit_count=unit_count,
        expected_failure_count=expected_failure_count,
        fisher_log=coverages[0],
        fisher_log_standard_error=errors[0],
        likelihood_ratio=coverages[1],
        likelihood_ratio_standard_error=errors[1],
        lot_count=lot_count,
        without_maximum_share=without_maximum_share,
    )


COVERAGE_TABLE: tuple[LimitCoverage, ...] = (
    _row(5, 3, (0.740, 0.842), 0.01075),
    _row(10, 5, (0.778, 0.861), 0.0012),
    _row(20, 10, (0.818, 0.877), 0.00005),
    _row(50, 25, (0.850, 0.884), 0.0),
    _row(200, 100, (0.875, 0.893), 0.0),
    _row(500, 250, (0.888, 0.898), 0.0),
)
"""True coverage of lower limits of the B10 life, Weibull, all units stopped at one count.

Simulated with `tests/benchmarks/limit_coverage.py`, 20 000 lots a row, which prints it anew.
"""


def limit_advice(failure_count: int) -> LimitAdvice:
    """
    Say which limits to trust at a number of failures, and what they truly cover.

    Parameters
    ----------
    failure_count : int, >= 1
        Failures behind the fit; units do not count, however many ran unbroken.

    Returns
    -------
    LimitAdvice
        The recommended method, the coverage that a nominal one-sided 90 % lower limit of
        the B10 life had in simulation, and ``FEW_FAILURES`` among the warnings below 10.

    Raises
    ------
    OutsideDomainError
        If `failure_count` is no whole number of 1 or more: without a failure there is no
        fit to hang limits on.

    Notes
    -----
    Coverage from the table `COVERAGE_TABLE`: the row with the most failures not above
    these; below the first row the first one, whose coverage is then too good. Fisher
    limits are recommended only where they fall short of the nominal confidence by less
    than 0.02: that takes some hundred failures more than rigs give.

    Examples
    --------
    >>> advice = limit_advice(3)
    >>> advice.recommended, advice.warnings
    ('LIKELIHOOD_RATIO', ('FEW_FAILURES',))
    >>> advice.expected_coverage_fisher_log, advice.expected_coverage_likelihood_ratio
    (0.74, 0.842)

    With three failures a "90 %" Fisher limit holds in three lots of four.
    """
    failures = check_count("failure_count", failure_count, least=1)
    row = COVERAGE_TABLE[0]
    for each in COVERAGE_TABLE:
        if each.expected_failure_count <= failures:
            row = each
    is_close = NOMINAL_CONFIDENCE - row.fisher_log < CLOSE_ENOUGH
    recommended: LimitMethod = "FISHER_LOG" if is_close else "LIKELIHOOD_RATIO"
    warnings: tuple[AdviceReason, ...] = ("FEW_FAILURES",) if failures < FEW_FAILURES else ()
    return LimitAdvice(
        recommended=recommended,
        failure_count=failures,
        nominal_confidence=NOMINAL_CONFIDENCE,
        expected_coverage_fisher_log=row.fisher_log,
        expected_coverage_likelihood_ratio=row.likelihood_ratio,
        table_row=row,
        warnings=warnings,
    )
