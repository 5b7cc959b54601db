"""A life that is credited although nobody could tell whether a leak had begun in it."""

from collections.abc import Sequence

from analysis.reduction.endings import LifeEnd
from analysis.reduction.onset_ends import onset_fails
from analysis.reduction.readings import Question
from analysis.reduction.unit_onset import onset_settings, unit_onset
from schemas.holds import HoldEvidence
from schemas.onsets import OnsetFinding
from schemas.specs import Spec
from schemas.stretches import StretchSummary


def onset_not_judged(
    stretches: Sequence[StretchSummary], spec: Spec, end: LifeEnd
) -> list[Question]:
    """
    Whether the onset of a leak is in doubt under a specification for which it is a failure.

    Parameters
    ----------
    stretches : sequence of StretchSummary
        The unit's stretches in order, with their blocks.
    spec : Spec
        The specification.
    end : LifeEnd
        How the life ends as the evidence stands.

    Returns
    -------
    list of Question
        At most one. Decay that changed while the baseline was taken asks at once; cycles
        that could not be judged ask when the unit has ended, because only then are they
        credited. The worst is an onset in them.

    Notes
    -----
    The last cycles of a life are never judged in full: a start masks some, and a block that
    is cut short is not read. As many as one start and two blocks hold ask nothing.
    """
    settings = onset_settings(spec)
    if settings is None or onset_fails(spec) is None or end.failed or not stretches:
        return []
    found = end.onset or unit_onset(stretches, spec, end.at_counted)
    if found is None or found.state == "ONSET":
        return []
    if found.reason == "NOT_STEADY" and found.baseline is not None:
        by = min(found.baseline.last_counted, end.at_counted)
        return [_question(found, stretches, (0, by), by)]
    unread = settings.mask_after_start_cycles + 2 * settings.block_cycles
    if not end.has_ended or end.at_counted - found.judged_to <= unread:
        return []
    return [_question(found, stretches, (found.judged_to, end.at_counted), end.at_logged)]


def _question(
    found: OnsetFinding,
    stretches: Sequence[StretchSummary],
    between: tuple[int, int],
    at_logged: int,
) -> Question:
    low, high = between
    last = stretches[-1]
    return Question(
        name="ONSET_NOT_JUDGED",
        at_counted=high,
        at_logged=at_logged,
        worst_low=low,
        evidence=HoldEvidence(
            rig_id=last.rig_id,
            station_no=last.station_no,
            cycles=high - low,
            raw_code=found.reason or found.state,
        ),
    )
