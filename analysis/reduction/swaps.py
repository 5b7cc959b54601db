"""A unit that behaves like another one after a stop: was it exchanged under the same number?"""

from collections.abc import Iterator, Sequence

from msgspec import Struct

from analysis.reduction.order import cycles_before
from analysis.reduction.readings import Question
from analysis.reduction.rules import EDGE_SLACK
from schemas.holds import HoldEvidence
from schemas.specs import Spec
from schemas.stretches import Baseline, StretchSummary


class _Known(Struct, frozen=True, kw_only=True):
    """The last baseline on a station, and the stretch that ended with it."""

    baseline: Baseline
    stretch_no: int


class _Step(Struct, frozen=True, kw_only=True):
    """By how much a quantity changed, and how much may pass."""

    quantity: str
    measured: float
    limit: float


def possible_swaps(stretches: Sequence[StretchSummary], spec: Spec) -> list[Question]:
    """
    Steps of a unit's baseline across a stop, larger than the specification lets pass.

    Parameters
    ----------
    stretches : sequence of StretchSummary
        The unit's stretches in order.
    spec : Spec
        With the steps of pressure decay and of rise time that ask; none asks nothing.

    Returns
    -------
    list of Question
        At worst the unit failed where the baseline was last known.

    Notes
    -----
    A baseline belongs to a unit on a station. It is carried over stops, over stretches
    too short to have one, and over stretches on other stations.
    """
    steps = spec.reduction.swap_step
    if steps is None:
        return []
    slack_mpa = 2 * EDGE_SLACK * spec.conditions.pressure_upper_mpa
    limits = {
        "pressure_decay_mpa": (steps.decay_mpa, slack_mpa),
        "rise_time_s": (steps.rise_time_s, EDGE_SLACK),
    }
    questions = []
    known: dict[tuple[str, int], _Known] = {}
    for number, stretch in enumerate(stretches):
        station = (stretch.rig_id, stretch.station_no)
        before = known.get(station)
        if before is not None and stretch.baseline_first is not None:
            questions += [
                _question(stretches, before.stretch_no, stretch, step)
                for step in _steps(before.baseline, stretch.baseline_first, limits)
            ]
        if stretch.baseline_last is not None:
            known[station] = _Known(baseline=stretch.baseline_last, stretch_no=number)
    return questions


def _question(
    stretches: Sequence[StretchSummary], last_known: int, stretch: StretchSummary, step: _Step
) -> Question:
    counted, logged = cycles_before(stretches, last_known + 1)
    return Question(
        name="POSSIBLE_SWAP",
        at_counted=counted,
        at_logged=logged,
        worst_low=counted,
        evidence=HoldEvidence(
            rig_id=stretch.rig_id,
            run_id=stretch.run_id,
            station_no=stretch.station_no,
            from_cycle_in_run=stretch.first_cycle_in_run,
            to_cycle_in_run=stretch.last_cycle_in_run,
            cycles=stretch.logged_cycles,
            quantity=step.quantity,
            measured=step.measured,
            limit=step.limit,
        ),
    )


def _steps(
    before: Baseline, after: Baseline, limits: dict[str, tuple[float | None, float]]
) -> Iterator[_Step]:
    """Steps that are too large."""
    for quantity, (limit, slack) in limits.items():
        first, second = getattr(before, quantity), getattr(after, quantity)
        if limit is None or first is None or second is None:
            continue
        if abs(second - first) > limit + slack:
            yield _Step(quantity=quantity, measured=second - first, limit=limit)
