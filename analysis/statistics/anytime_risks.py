"""Plans that may be looked at always: where they end, and their exact risks."""

import math
from collections.abc import Sequence

from analysis.checks import check_count, check_fraction, check_positive
from analysis.errors import OutsideDomainError
from analysis.statistics.anytime_counts import log_count_evidence, stops_by_evidence
from analysis.statistics.anytime_evidence import lives_reaching, lives_to_accept
from analysis.statistics.sequential_exact import timed_outcome
from schemas.anytime import AnytimeOutcome, AnytimeStops, PriorDensity
from schemas.test_plans import CountedStops, TimedStops

_SLACK = 1e-12
_MANY = 10_000


def anytime_stops(
    *,
    reliability: float,
    confidence: float,
    prior: PriorDensity,
    most_failures: int | None,
    cap_target_lives: float | None,
    give_up_evidence: float | None,
) -> AnytimeStops:
    """
    Where a plan on target lives ends.

    Parameters
    ----------
    reliability, confidence : float, fractions, keyword only
    prior : PriorDensity, keyword only
    most_failures : int or None, keyword only
        Failures that may be accepted at most; None: as many as the cap leaves time for.
    cap_target_lives : float or None, keyword only
        Sum, above 0, at which the test ends without acceptance; None: failures end it.
    give_up_evidence : float or None, keyword only
        Evidence at or below which it ends without acceptance, between 0 and 1; None: no
        such line was declared.

    Returns
    -------
    AnytimeStops

    Raises
    ------
    OutsideDomainError
        If a number is out of its range, neither failures nor a cap end the plan, or the
        cap lies below the sum that accepts without a failure: it never accepts.

    Notes
    -----
    A cap and a give-up line only lower the customer's risk. A test is over as soon as
    no sum up to the cap could accept it any more; nobody's risk changes by that.

    Examples
    --------
    >>> from analysis.statistics.anytime_evidence import PRIORS
    >>> plan = anytime_stops(
    ...     reliability=0.95,
    ...     confidence=0.90,
    ...     prior=PRIORS["EVEN"],
    ...     most_failures=None,
    ...     cap_target_lives=150.0,
    ...     give_up_evidence=None,
    ... )
    >>> plan.most_failures, [round(total, 2) for total in plan.stops.accept_totals]
    (2, [53.49, 102.04, 145.05])
    """
    allowed = -math.log(check_fraction("reliability", reliability))
    cap = math.inf if cap_target_lives is None else check_positive("cap", cap_target_lives)
    if most_failures is None and cap == math.inf:
        raise OutsideDomainError("most_failures", None, "given where there is no cap")
    most = _MANY if most_failures is None else check_count("most_failures", most_failures, least=0)
    accept: list[float] = []
    while len(accept) <= most:
        lives = lives_to_accept(len(accept), confidence=confidence, prior=prior) / allowed
        if lives > cap * (1.0 + _SLACK):
            break
        accept.append(lives)
    if not accept:
        raise OutsideDomainError(
            "cap_target_lives", cap, f"{lives:.2f} or more, which accepts without a failure"
        )
    refuse = {len(accept): accept[-1]}
    if give_up_evidence is not None:
        level = math.log(check_fraction("give_up_evidence", give_up_evidence))
        found = {
            count: lives_reaching(count, level, prior=prior) / allowed
            for count in range(1, len(accept))
        }
        refuse |= {count: lives for count, lives in found.items() if lives > 0.0}
    return AnytimeStops(
        stops=TimedStops(accept_totals=tuple(accept), reject_totals=refuse),
        most_failures=len(accept) - 1,
        cap_target_lives=cap_target_lives,
    )


def anytime_outcomes(
    plan: AnytimeStops, true_reliabilities: Sequence[float]
) -> list[AnytimeOutcome]:
    """
    Exact chance of acceptance and mean length of a plan on target lives.

    Parameters
    ----------
    plan : AnytimeStops
    true_reliabilities : sequence of float, fractions

    Returns
    -------
    list of AnytimeOutcome
        One per reliability. Looking is continuous: looks less often only lower the chance
        of acceptance.

    Raises
    ------
    OutsideDomainError
        If a reliability is no fraction.

    Examples
    --------
    >>> from analysis.statistics.anytime_evidence import PRIORS
    >>> plan = anytime_stops(
    ...     reliability=0.95,
    ...     confidence=0.90,
    ...     prior=PRIORS["EVEN"],
    ...     most_failures=None,
    ...     cap_target_lives=150.0,
    ...     give_up_evidence=None,
    ... )
    >>> [at_requirement] = anytime_outcomes(plan, [0.95])
    >>> at_requirement.chance_of_acceptance < 0.10
    True
    """
    true = [check_fraction("true_reliability", each) for each in true_reliabilities]
    found = timed_outcome(plan.stops, [-1.0 / math.log(each) for each in true])
    return [
        AnytimeOutcome(
            true_reliability=reliability,
            chance_of_acceptance=outcome.chance_of_acceptance,
            mean_target_lives=outcome.mean_length,
        )
        for reliability, outcome in zip(true, found, strict=True)
    ]


def anytime_count_stops(
    *,
    reliability: float,
    confidence: float,
    prior: PriorDensity,
    most_units: int,
    most_failures: int | None,
) -> CountedStops:
    """
    Where a plan by counting ends that may be looked at after every unit.

    Parameters
    ----------
    reliability, confidence : float, fractions, keyword only
    prior : PriorDensity, keyword only
    most_units : int, >= 1, keyword only
        Cap on finished units.
    most_failures : int or None, keyword only
        Failures that may be accepted at most; None: as many as the cap leaves units for.

    Returns
    -------
    CountedStops
        For `sequential_exact.counted_outcome`. A count is refused as soon as no result
        of the units left could accept it.

    Raises
    ------
    OutsideDomainError
        If a number is out of its range.

    Examples
    --------
    >>> from analysis.statistics.anytime_evidence import PRIORS
    >>> plan = anytime_count_stops(
    ...     reliability=0.95,
    ...     confidence=0.90,
    ...     prior=PRIORS["EVEN"],
    ...     most_units=110,
    ...     most_failures=None,
    ... )
    >>> plan.accept_at.index(0) + 1, plan.accept_at.index(1) + 1, plan.reject_at[-1]
    (54, 103, 2)
    """

    def evidence(failures: int, units: int) -> float:
        return log_count_evidence(failures, units, reliability=reliability, prior=prior)

    return stops_by_evidence(
        evidence,
        confidence=confidence,
        most_units=most_units,
        most_failures=most_units if most_failures is None else most_failures,
    )
