"""A life that was uploaded as such, read under a specification."""

from collections.abc import Sequence

from analysis.reduction.endings import LifeEnd, hidden_before, planned_cycles
from analysis.reduction.failure_analysis import analysed
from analysis.reduction.modes import UNANALYSED, gravest, mode_named
from schemas.lives import FailureSeen
from schemas.specs import Spec
from schemas.unit_evidence import DeclaredLife, FailureAnalysis

_UNKNOWN_HOW = "NOT_RECORDED"


def end_of_declared(
    life: DeclaredLife, spec: Spec, analyses: Sequence[FailureAnalysis] = ()
) -> LifeEnd:
    """
    How a declared life ends under a specification.

    Parameters
    ----------
    life : DeclaredLife
        One row of a lives table.
    spec : Spec
        Says which modes count and what is planned.
    analyses : sequence of FailureAnalysis, optional
        The unit's failure records, oldest first.

    Returns
    -------
    LifeEnd
        A failure in a mode that is not relevant is a suspension at its count. A
        failure without a mode takes the gravest mode of the specification. A
        run-out short of the planned count is a suspension. A declared life is
        final: whoever sends it has taken the unit off the test.
    """
    if life.ending in ("FAILED", "FAILED_BETWEEN"):
        return _failure(life, spec, analyses)
    cycles = life.cycles or 0
    planned = planned_cycles(spec)
    short = life.ending == "RUN_OUT" and bool(spec.requirement) and cycles < planned
    if life.ending == "VOID":
        return LifeEnd(
            ending="VOID", at_counted=cycles, at_logged=cycles, verified_cycles=0, has_ended=True
        )
    return LifeEnd(
        ending="RUN_OUT" if life.ending == "RUN_OUT" and not short else "SUSPENDED",
        at_counted=cycles,
        at_logged=cycles,
        verified_cycles=cycles,
        has_ended=True,
        cycles=cycles,
        marks=("PLANNED_NOT_COUNTED",) if short else (),
    )


def _failure(life: DeclaredLife, spec: Spec, analyses: Sequence[FailureAnalysis]) -> LifeEnd:
    mode = mode_named(spec, life.failure_mode) or gravest(spec.failure.modes)
    is_relevant = mode is None or mode.relevant
    counts = (life.cycles, life.cycles_low, life.cycles_high)
    found = analysed(
        FailureSeen(
            seen_as=mode.seen_as if mode and life.failure_mode else _UNKNOWN_HOW,
            failure_mode=life.failure_mode or UNANALYSED,
            # Which mode it was nobody said: it counts, but nobody has seen a critical one.
            critical=bool(mode and mode.critical and is_relevant and life.failure_mode),
            relevant=is_relevant,
        ),
        counts,
        analyses,
        spec,
    )
    high = life.cycles if life.cycles is not None else life.cycles_high
    low = life.cycles if life.cycles is not None else life.cycles_low
    at_counted, verified = high or 0, low or 0
    exact, relevant = life.cycles is not None, found.seen.relevant
    end = LifeEnd(
        ending=("FAILED" if exact else "FAILED_BETWEEN") if relevant else "SUSPENDED",
        at_counted=at_counted,
        at_logged=at_counted,
        verified_cycles=verified,
        has_ended=True,
        cycles=life.cycles if exact or relevant else verified,
        cycles_low=life.cycles_low if relevant else None,
        cycles_high=life.cycles_high if relevant else None,
        failure=found.seen,
    )
    return hidden_before(end, found.clean_cycles)
