"""Two units on one station, or one unit on two stations, at the same time."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime, timedelta

from msgspec import UNSET, Struct

from schemas.holds import HoldEvidence
from schemas.unit_evidence import IdentityConflict

_NO_TIME = timedelta(0)


class Span(Struct, frozen=True, kw_only=True):
    """
    When a stretch ran: its first and last start, UTC without a zone.

    `row_count` is the number of its rows; `lap` and the counters are those of a
    stretch of the lot, 0 where another lot's unit ran and only its times are known.
    """

    stretch_key: int
    unit_key: int
    lot_number: str
    unit_serial: str
    rig_id: str
    run_id: str
    station_no: int
    first_at: datetime
    last_at: datetime
    row_count: int
    lap: int = 0
    first_cycle_in_run: int = 0
    last_cycle_in_run: int = 0


def longest_spacing(span: Span) -> timedelta:
    """
    The median spacing of the rows of a stretch is not above this.

    At least half of the spacings are as long as their median, so that twice the mean
    bounds it. (Arithmetic, no source.)
    """
    if span.row_count < 2:
        return _NO_TIME
    return 2 * (span.last_at - span.first_at) / (span.row_count - 1)


def spacings_wanted(spans: Sequence[Span]) -> set[int]:
    """
    Stretches of which the median spacing decides whether they overlap another one.

    Parameters
    ----------
    spans : sequence of Span
        Of the lot's units, and of those that may have shared a station with them.

    Returns
    -------
    set of int
        Stretch keys; those that may overlap under the longest spacing they can have.
    """
    reach: dict[int, timedelta] = {}
    for span in spans:
        reach[span.stretch_key] = max(longest_spacing(span), reach.get(span.stretch_key, _NO_TIME))
    return {each.stretch_key for pair in _overlapping(spans, reach) for each in pair}


def identity_conflicts(
    spans: Sequence[Span], spacings: Mapping[int, timedelta]
) -> dict[int, list[IdentityConflict]]:
    """
    Stretches that ran while another unit's did on the same station, or its own elsewhere.

    Parameters
    ----------
    spans : sequence of Span
        Of the lot's units, and of those that may have shared a station with them.
    spacings : mapping of int to timedelta
        Median spacing of rows by stretch key; none where it decides nothing.

    Returns
    -------
    dict of int to list of IdentityConflict
        By unit key. A stretch ends at its last start plus the median spacing of its
        rows, so that one that begins with the next cycle does not overlap it.
    """
    found: dict[int, list[IdentityConflict]] = defaultdict(list)
    for first, second in _overlapping(spans, spacings):
        for own, other in ((first, second), (second, first)):
            found[own.unit_key].append(_conflict(own, other, spacings))
    return {
        unit_key: sorted(each, key=lambda one: (one.evidence.from_at, one.stretch_key))
        for unit_key, each in found.items()
    }


def _overlapping(
    spans: Sequence[Span], spacings: Mapping[int, timedelta]
) -> list[tuple[Span, Span]]:
    by_station: dict[tuple[str, int], list[Span]] = defaultdict(list)
    by_unit: dict[int, list[Span]] = defaultdict(list)
    for span in spans:
        by_station[span.rig_id, span.station_no].append(span)
        by_unit[span.unit_key].append(span)
    shared = [p for group in by_station.values() for p in _pairs(group, spacings) if _units(p) > 1]
    split = [p for group in by_unit.values() for p in _pairs(group, spacings) if _stations(p) > 1]
    return shared + split


def _pairs(spans: Iterable[Span], spacings: Mapping[int, timedelta]) -> list[tuple[Span, Span]]:
    """Pairs that overlap in time; a stretch of one row lasts no time but is somewhere."""
    pairs: list[tuple[Span, Span]] = []
    open_spans: list[Span] = []
    for span in sorted(spans, key=lambda each: (each.first_at, each.stretch_key, each.lap)):
        open_spans = [
            each
            for each in open_spans
            if span.first_at < _end(each, spacings) or span.first_at == each.first_at
        ]
        pairs += [(each, span) for each in open_spans]
        open_spans.append(span)
    return pairs


def _units(pair: tuple[Span, Span]) -> int:
    return len({each.unit_key for each in pair})


def _stations(pair: tuple[Span, Span]) -> int:
    return len({(each.rig_id, each.station_no) for each in pair})


def _end(span: Span, spacings: Mapping[int, timedelta]) -> datetime:
    return span.last_at + spacings.get(span.stretch_key, _NO_TIME)


def _conflict(own: Span, other: Span, spacings: Mapping[int, timedelta]) -> IdentityConflict:
    is_other_unit = own.unit_key != other.unit_key
    evidence = HoldEvidence(
        rig_id=own.rig_id,
        run_id=own.run_id,
        station_no=own.station_no,
        from_cycle_in_run=own.first_cycle_in_run,
        to_cycle_in_run=own.last_cycle_in_run,
        cycles=own.row_count,
        other_lot_number=other.lot_number if is_other_unit else UNSET,
        other_unit_serial=other.unit_serial if is_other_unit else UNSET,
        from_at=max(own.first_at, other.first_at).replace(tzinfo=UTC),
        to_at=min(_end(own, spacings), _end(other, spacings)).replace(tzinfo=UTC),
    )
    return IdentityConflict(stretch_key=own.stretch_key, lap=own.lap, evidence=evidence)
