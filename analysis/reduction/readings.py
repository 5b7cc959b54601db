"""Two readings of one life: what an open question leaves at best and at worst."""

from collections.abc import Callable, Sequence

from msgspec import Struct, structs

from analysis.reduction.endings import LifeEnd, at_plan, planned_cycles
from analysis.reduction.modes import UNANALYSED, may_be_critical
from schemas.holds import HoldCode, HoldEvidence
from schemas.lives import FailureSeen
from schemas.specs import Spec
from schemas.stretches import StretchSummary


class Question(Struct, frozen=True, kw_only=True):
    """
    An open question at a place of the unit's life.

    Its best reading is that nothing happened there; the worst is a failure
    after `worst_low` and at or before `at_counted` counted cycles (an exact one
    where the two are equal).
    """

    name: HoldCode
    at_counted: int
    at_logged: int
    worst_low: int
    evidence: HoldEvidence


class Doubt(Struct, frozen=True, kw_only=True):
    """An open question as two readings of the whole life."""

    name: HoldCode
    evidence: list[HoldEvidence]
    best: LifeEnd
    worst: LifeEnd


def either(first: LifeEnd, second: LifeEnd) -> tuple[LifeEnd, LifeEnd]:
    """The better and the worse of two readings: a failure hurts most, then less credit."""
    ordered = sorted(
        (first, second),
        key=lambda end: (end.failed, end.ending == "VOID", -end.credited_cycles),
    )
    return ordered[0], ordered[1]


def worst_reading(question: Question, end: LifeEnd, spec: Spec) -> LifeEnd:
    """The life if the unit failed at the place of a question."""
    exact = question.worst_low >= question.at_counted
    seen = FailureSeen(
        seen_as="NOT_RECORDED",
        failure_mode=UNANALYSED,
        critical=may_be_critical(spec, rows_are_silent=question.name == "UNIT_OVERDUE"),
        relevant=True,
    )
    return LifeEnd(
        ending="FAILED" if exact else "FAILED_BETWEEN",
        at_counted=question.at_counted,
        at_logged=min(question.at_logged, end.at_logged),
        verified_cycles=question.worst_low,
        has_ended=True,
        cycles=question.at_counted if exact else None,
        cycles_low=None if exact else question.worst_low,
        cycles_high=None if exact else question.at_counted,
        failure=seen,
    )


def excluded(end: LifeEnd) -> LifeEnd:
    """What hurts more of counted and excluded: a failure counts, anything else is void."""
    if end.failed:
        return end
    return structs.replace(end, ending="VOID", verified_cycles=0, has_ended=True)


def without_cycles(
    end: LifeEnd,
    stretches: Sequence[StretchSummary],
    spec: Spec,
    in_doubt: Callable[[StretchSummary], int],
) -> LifeEnd:
    """
    The same end if some counted cycles did not count.

    Parameters
    ----------
    end : LifeEnd
        The end if they do.
    stretches : sequence of StretchSummary
        The unit's stretches in order.
    spec : Spec
        For the planned count, which the rest may be short of.
    in_doubt : callable
        Counted cycles of a stretch that would not count.

    Returns
    -------
    LifeEnd
        Where the end lies inside a stretch, as many of them as can lie before it.
    """

    def kept(cycles: int) -> int:
        return cycles - most_before(stretches, cycles, in_doubt)

    if not most_before(stretches, end.at_counted, in_doubt):
        return end
    verified = kept(end.verified_cycles)
    short = end.ending == "RUN_OUT" and verified < planned_cycles(spec)
    reading = structs.replace(
        end,
        ending="SUSPENDED" if short else end.ending,
        has_ended=end.has_ended and not short,
        at_counted=kept(end.at_counted),
        verified_cycles=verified,
    )
    if end.ending != "FAILED_BETWEEN":
        return structs.replace(reading, cycles=None if end.cycles is None else kept(end.cycles))
    low, high = kept(end.cycles_low or 0), kept(end.cycles_high or 0)
    if low < high:
        return structs.replace(reading, cycles_low=low, cycles_high=high)
    return structs.replace(reading, ending="FAILED", cycles=high, cycles_low=None, cycles_high=None)


def most_before(
    stretches: Sequence[StretchSummary],
    counted_cycles: int,
    in_doubt: Callable[[StretchSummary], int],
) -> int:
    """Of the first counted cycles, at most so many are in doubt."""
    found, remaining = 0, counted_cycles
    for stretch in stretches:
        part = min(stretch.counted_cycles, remaining)
        found += min(in_doubt(stretch), part)
        remaining -= part
    return found


def with_unrecorded(end: LifeEnd, stretches: Sequence[StretchSummary], spec: Spec) -> LifeEnd:
    """
    The same end if cycles count of which only a cell is missing.

    Parameters
    ----------
    end : LifeEnd
        The end if they do not.
    stretches : sequence of StretchSummary
        The unit's stretches in order.
    spec : Spec
        For the planned count, which the unit may then have reached.

    Returns
    -------
    LifeEnd
        A failure stays one, after more cycles.
    """
    more = end.up_to.only_not_recorded_cycles

    def raised(cycles: int) -> int:
        return cycles + (more if cycles >= end.at_counted else _unrecorded(stretches, cycles, more))

    if not more:
        return end
    counted, verified = end.at_counted + more, raised(end.verified_cycles)
    reading = structs.replace(
        end,
        at_counted=counted,
        verified_cycles=verified,
        cycles=None if end.cycles is None else end.cycles + more,
        cycles_low=None if end.cycles_low is None else raised(end.cycles_low),
        cycles_high=None if end.cycles_high is None else end.cycles_high + more,
    )
    planned = at_plan(counted, verified, spec)
    if planned is None or end.failure is not None or end.ending == "VOID":
        return reading
    return structs.replace(
        reading, ending=planned[0], marks=planned[1], has_ended=planned[0] == "RUN_OUT"
    )


def _unrecorded(stretches: Sequence[StretchSummary], counted_cycles: int, most: int) -> int:
    """Cycles short of a record before a count: all of a stretch that reaches beyond it."""
    found, remaining = 0, counted_cycles
    for stretch in stretches:
        if remaining <= 0:
            break
        found += stretch.tally.only_not_recorded_cycles
        remaining -= stretch.counted_cycles
    return min(found, most)
