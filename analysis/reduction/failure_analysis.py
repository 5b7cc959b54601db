"""What failure records make of a failure: its mode, whether it counts, and how old it is."""

import base64
import hashlib
from collections.abc import Sequence

import msgspec
from msgspec import UNSET, Struct, structs

from analysis.reduction.modes import mode_named, mode_seen_as
from analysis.reduction.order import Place
from schemas.failure_records import SIGNATURES_NEEDED
from schemas.lives import FailureSeen
from schemas.lots import CyclePoint
from schemas.specs import Spec
from schemas.stretches import StretchSummary
from schemas.unit_evidence import FailureAnalysis

_LETTERS = 12


class Analysed(Struct, frozen=True, kw_only=True):
    """
    A failure as its records leave it.

    `clean_cycles` is given where older, hidden damage was found: counted cycles up to
    which that was surely absent.
    """

    seen: FailureSeen
    clean_cycles: int | None = None


class _Word(Struct, frozen=True, kw_only=True):
    """What counts so far, while records are read in their order."""

    failure_mode: str
    relevant: bool
    critical: bool
    record_id: str | None = None
    clean_cycles: int | None = None

    @property
    def gravity(self) -> int:
        """0 does not count, 1 counts, 2 refuses the lot alone."""
        return 1 + self.critical if self.relevant else 0


def analysed(
    seen: FailureSeen, counts: Sequence[int | None], analyses: Sequence[FailureAnalysis], spec: Spec
) -> Analysed:
    """
    A failure with the word of its unit's failure records taken.

    Parameters
    ----------
    seen : FailureSeen
        The failure as rows, an inspection or a declared life show it.
    counts : sequence of int or None
        Its life, or the counts between which it lies; they name a failure that has no
        place in rows or inspections.
    analyses : sequence of FailureAnalysis
        The unit's failure records, oldest first.
    spec : Spec
        Which modes are relevant, and which critical.

    Returns
    -------
    Analysed
        Unchanged where nobody recorded anything.

    Notes
    -----
    The newest record names the mode. If it would make the failure count less (not relevant
    instead of relevant, not critical instead of critical, or a longer credit than an earlier
    record left), it takes effect only once two persons signed it for this very failure;
    until then the gravest word before it stands. Signatures under an earlier record end
    with it. A mode that the specification does not know counts, and is critical where the
    gravest mode seen in this way is.
    """
    if not analyses:
        return Analysed(seen=seen)
    name = failure_id(seen, counts)
    newest = analyses[-1]
    word, is_pending = _unsigned(seen, analyses, spec)
    counts_less = is_pending and len(signers(newest, name)) >= SIGNATURES_NEEDED
    if counts_less:
        word = _said(newest, seen, spec)
    pending = newest if is_pending and not counts_less else None
    return Analysed(
        seen=structs.replace(
            seen,
            failure_mode=word.failure_mode,
            relevant=word.relevant,
            critical=word.critical,
            failure_id=name,
            record_id=word.record_id or UNSET,
            pending_record_id=pending.record_id if pending else UNSET,
            pending_mode=pending.failure_mode if pending else UNSET,
            counts_less=counts_less,
        ),
        clean_cycles=word.clean_cycles,
    )


def without_signatures(analyses: Sequence[FailureAnalysis]) -> list[FailureAnalysis]:
    """The same records as if nobody had signed them."""
    return [structs.replace(each, signatures=[]) for each in analyses]


def names_failure(analyses: Sequence[FailureAnalysis], spec: Spec) -> bool:
    """Whether the newest record speaks of a failure that counts, or of one nobody foresaw."""
    if not analyses:
        return False
    mode = mode_named(spec, analyses[-1].failure_mode)
    return mode is None or mode.relevant


def failure_id(seen: FailureSeen, counts: Sequence[int | None]) -> str:
    """
    Name of a failure, the same as long as it shows at the same place.

    Parameters
    ----------
    seen : FailureSeen
        The failure; its mode is not in the name.
    counts : sequence of int or None
        Its life; in the name only where the failure has no place.

    Returns
    -------
    str

    Notes
    -----
    Rows that arrive later may move its count; the cycle that failed stays the same one.
    """
    where = (
        seen.rig_id or None,
        seen.run_id or None,
        None if seen.cycle_in_run is UNSET else seen.cycle_in_run,
        seen.inspection_key or None,
    )
    placed = any(part is not None for part in where)
    content = msgspec.json.encode((seen.seen_as, where, None if placed else list(counts)))
    letters = base64.b32encode(hashlib.sha256(content).digest()).decode().lower()
    return f"fail_{letters[:_LETTERS]}"


def signers(analysis: FailureAnalysis, failure: str) -> set[str]:
    """Persons who signed a record for a failure, each once however the name is written."""
    return {person(each.signed_by) for each in analysis.signatures if each.failure_id == failure}


def person(name: str) -> str:
    """
    A person's name without the differences that tell no two persons apart.

    Examples
    --------
    >>> person("A.  Tester ") == person("a. tester")
    True
    """
    return " ".join(name.casefold().split())


def clean_place(point: CyclePoint, stretches: Sequence[StretchSummary]) -> Place | None:
    """
    Where in the unit's rows damage was surely absent; None if these rows are not there.

    A counter that was reset gives a run several cycles of one number; the first is taken.
    """
    for number, stretch in enumerate(stretches):
        same_run = (stretch.rig_id, stretch.run_id) == (point.rig_id, point.run_id)
        first, last = stretch.first_cycle_in_run, stretch.last_cycle_in_run
        if same_run and first <= point.cycle_in_run <= last:
            return Place(
                stretch_no=number,
                ends_stretch=point.cycle_in_run == last,
                last_cycle_in_run=point.cycle_in_run,
            )
    return None


def _unsigned(
    seen: FailureSeen, analyses: Sequence[FailureAnalysis], spec: Spec
) -> tuple[_Word, bool]:
    """What counts after every record if nobody signs, and whether the newest one has to wait."""
    word = _Word(failure_mode=seen.failure_mode, relevant=seen.relevant, critical=seen.critical)
    waits = False
    for each in analyses:
        said = _said(each, seen, spec)
        waits = said.gravity < word.gravity or _longer(said, word)
        if waits:
            least = _least(word.clean_cycles, said.clean_cycles)
            word = structs.replace(word, clean_cycles=least)
        else:
            word = said
    return word, waits


def _said(analysis: FailureAnalysis, seen: FailureSeen, spec: Spec) -> _Word:
    mode = mode_named(spec, analysis.failure_mode)
    gravest = mode_seen_as(spec, seen.seen_as)
    known_critical = gravest is not None and gravest.relevant and gravest.critical
    return _Word(
        failure_mode=analysis.failure_mode,
        relevant=True if mode is None else mode.relevant,
        critical=known_critical or seen.critical if mode is None else mode.critical,
        record_id=analysis.record_id,
        clean_cycles=analysis.clean_cycles,
    )


def _longer(said: _Word, word: _Word) -> bool:
    """Whether the credit would end later than an earlier finding of hidden damage left it."""
    if word.clean_cycles is None:
        return False
    return said.clean_cycles is None or said.clean_cycles > word.clean_cycles


def _least(*counts: int | None) -> int | None:
    return min((count for count in counts if count is not None), default=None)
