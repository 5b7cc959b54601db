"""Leak onset in the life of a unit: where it lies, and what it does to the life."""

from collections.abc import Sequence

from msgspec import structs

from analysis.reduction.blocks import NumberedBlocks, number_blocks, to_search
from analysis.reduction.onset import leak_onset, onset_rules
from schemas.onsets import OnsetFinding
from schemas.specs import OnsetSettings, Spec
from schemas.stretches import StretchSummary


def onset_settings(spec: Spec) -> OnsetSettings | None:
    """
    Settings by which onset is looked for; None where the specification asks for no search.

    A dead band or an alarm of 0 finds an onset in every unit: such settings, which no
    draft can state any more, are not applied.
    """
    settings = spec.reduction.onset
    if settings is None or settings.dead_band_mpa <= 0 or settings.alarm_mpa <= 0:
        return None
    return settings


def unit_onset(
    stretches: Sequence[StretchSummary], spec: Spec, up_to_counted: int
) -> OnsetFinding | None:
    """
    Leak onset of a unit up to a count.

    Parameters
    ----------
    stretches : sequence of StretchSummary
        The unit's stretches in order, with their blocks.
    spec : Spec
        With the settings of the search.
    up_to_counted : int
        Blocks that begin after this counted cycle are not read.

    Returns
    -------
    OnsetFinding or None
        None where the specification asks for no search, or the unit has no rows. No
        bracket ends after `up_to_counted` and the cycles that lack before it.

    Notes
    -----
    A counter without a row may have been a cycle that counts, and decay may have begun
    to grow in it: where counters lack inside the bracket its high end lies so much later.
    """
    settings = onset_settings(spec)
    if settings is None or not stretches:
        return None
    blocks = number_blocks(stretches)
    found = leak_onset(to_search(blocks, up_to_counted), onset_rules(settings))
    found = structs.replace(found, judged_to=min(found.judged_to, up_to_counted))
    if found.low_cycles is None or found.high_cycles is None:
        return found
    high = min(found.high_cycles, up_to_counted)
    lacking = _lacking(blocks, found.low_cycles, high)
    return structs.replace(found, high_cycles=high + lacking)


def _lacking(blocks: Sequence[NumberedBlocks], low: int, high: int) -> int:
    """Counters without a row between two counts, those in the blocks at its ends included."""
    return sum(
        int(each.missing[(each.last_counted > low) & (each.first_counted <= high)].sum())
        for each in blocks
    )
