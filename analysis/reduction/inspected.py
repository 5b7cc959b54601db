"""What an inspection's place in the rows tells: rows missing before it, a start just before it."""

from collections import defaultdict
from collections.abc import Sequence

from msgspec import structs

from analysis.reduction.modes import failure_found
from analysis.reduction.order import Place
from analysis.reduction.tallies import PartCounts
from schemas.lots import NewInspection
from schemas.specs import Spec
from schemas.stretches import StretchSummary
from schemas.unit_evidence import LocatedInspection


def joined_at_one_count(
    inspections: Sequence[LocatedInspection], spec: Spec
) -> list[LocatedInspection]:
    """
    Inspections made after the same cycle, as one look: one saw the leak, one the function.

    Parameters
    ----------
    inspections : sequence of LocatedInspection
        Of one unit, in any order.
    spec : Spec
        Says which of them found a failure.

    Returns
    -------
    list of LocatedInspection
        One for each count, without the inspections that found a failure: the highest
        leak class that was seen, and a passed function check if one was. It stands in
        the place of the last of them.
    """
    by_count: dict[int, list[LocatedInspection]] = defaultdict(list)
    for located in inspections:
        if failure_found(located.inspection, spec) is None:
            by_count[located.logged_cycles].append(located)
    return [_joined(looks) for looks in by_count.values()]


def _joined(looks: Sequence[LocatedInspection]) -> LocatedInspection:
    last = max(looks, key=lambda located: located.inspection.inspected_at)
    classes = [each.inspection.leak_class for each in looks]
    passed = any(each.inspection.function_check == "PASS" for each in looks)
    together: NewInspection = structs.replace(
        last.inspection,
        leak_class=max((each for each in classes if each is not None), default=None),
        function_check="PASS" if passed else None,
    )
    return structs.replace(last, inspection=together)


def found_before_the_first_cycle(located: LocatedInspection) -> bool:
    """Whether an inspection is the incoming one, made before the unit was cycled at all."""
    is_incoming = located.inspection.purpose == "INCOMING" and located.inspection.after is None
    return is_incoming and located.logged_cycles == 0


def is_restart_weep(located: LocatedInspection, spec: Spec) -> bool:
    """
    Whether an inspection saw moisture below the failing class just after a start.

    A fitting may weep until it is warm; within `warm_up_cycles` of a start it is
    recorded as that and is no failure.
    """
    warm_up, seen = spec.reduction.warm_up_cycles, located.inspection.leak_class
    if warm_up is None or not seen or failure_found(located.inspection, spec) is not None:
        return False
    return 0 < located.since_start_cycles <= warm_up


def missing_before(stretches: Sequence[StretchSummary], place: Place, inside: PartCounts) -> int:
    """
    Counters without a row before a place in a unit's rows.

    Parameters
    ----------
    stretches : sequence of StretchSummary
        The unit's stretches in order.
    place : Place
        The place.
    inside : PartCounts
        Counts of its stretch up to the place, where it lies inside one.

    Returns
    -------
    int
        Where the place names a counter beyond the last row of its stretch, the
        counters up to it lack too. What declared thinning left out does not lack.
    """
    if place.stretch_no < 0:
        return 0
    whole = place.stretch_no + 1 if place.ends_stretch else place.stretch_no
    missing = sum(stretch.unlogged_cycles for stretch in stretches[:whole])
    stretch, counter = stretches[place.stretch_no], place.last_cycle_in_run
    if place.ends_stretch:
        return missing + max((counter or 0) - stretch.last_cycle_in_run, 0)
    last = inside.highest if counter is None else counter
    counters = last - min(stretch.first_cycle_in_run, 1) + 1
    if last < stretch.first_cycle_in_run and counter is None:
        return missing
    return missing + max(counters - inside.logged_cycles - inside.tally.inferred_cycles, 0)


def cycles_since_start(
    stretches: Sequence[StretchSummary], place: Place, inside: PartCounts
) -> int:
    """Logged cycles between the start of the run and a place; 0 before the first row."""
    if place.stretch_no < 0:
        return 0
    at = stretches[place.stretch_no]
    earlier = [
        stretch.logged_cycles
        for stretch in stretches[: place.stretch_no]
        if stretch.stretch_key == at.stretch_key
    ]
    return sum(earlier) + (at.logged_cycles if place.ends_stretch else inside.logged_cycles)
