"""
Lots from unit lives to a verdict, with a look after every hourly upload.

Stations take the units of a lot one after another; a unit runs to the planned cycles or to its
failure, and the next one starts with the next full hour. At every look a rule of `risk_rules`
sees what has been uploaded until then, nothing later. Thousands of lots go on side by side.
"""

import math
from collections.abc import Callable, Iterator, Mapping

import numpy as np
from msgspec import Struct
from risk_rules import RATE, SHAPE, TARGET, CountRule, CountView, LivesRule, LivesView

CYCLES_PER_HOUR = 1_440  # One cycle in 2.5 s.
STATIONS = 6
NEVER = 32_000
"""An hour after all tests; hours are kept in 16 bits, for the sake of speed."""
SOUND = 10**9
"""A life that no test ends."""
_FIRST_FAILURES = 12

Draw = Callable[[np.random.Generator, tuple[int, int]], np.ndarray]


class Truth(Struct, frozen=True, kw_only=True):
    """
    How lots are in truth, and how their bad news travels.

    `lives` draws lives in cycles. `late_hours` after a failure its rows and those of its last
    hour arrive; `NEVER` with `late_share` for failures that only an inspection would find.
    After `overdue_hours` without news such a unit counts as failed; None: nobody asks.
    """

    lives: Draw
    late_hours: int = 0
    late_share: float = 1.0
    overdue_hours: int | None = None


class Lots(Struct, frozen=True, kw_only=True):
    """Units of lots, one row per lot and one column per place: cycles, and hours of events."""

    planned: int
    lives: np.ndarray
    failed: np.ndarray
    start: np.ndarray
    end: np.ndarray
    known: np.ndarray
    overdue: np.ndarray

    def places(self, count: int) -> "Lots":
        """The same lots under a plan with fewer places: units start in the same order."""
        cut = {name: getattr(self, name)[:, :count] for name in _ARRAYS}
        return Lots(planned=self.planned, **cut)

    def chosen(self, rows: np.ndarray) -> "Lots":
        """Some of the lots."""
        return Lots(planned=self.planned, **{name: getattr(self, name)[rows] for name in _ARRAYS})


_ARRAYS = ("lives", "failed", "start", "end", "known", "overdue")


def weibull_lives(shape: float) -> Draw:
    """One population, exactly at the requirement at the target, of a true shape."""

    def draw(rng: np.random.Generator, size: tuple[int, int]) -> np.ndarray:
        lives = TARGET * (rng.exponential(size=size) / RATE) ** (1 / shape)
        return np.ceil(np.minimum(lives, SOUND)).astype(np.int32)

    return draw


def weak_share(share: float) -> Draw:
    """A share of weak units that die early, the rest sound: no single Weibull."""

    def draw(rng: np.random.Generator, size: tuple[int, int]) -> np.ndarray:
        weak = rng.random(size) < share
        lives = np.where(weak, rng.integers(1, TARGET // 5, size), SOUND)
        return lives.astype(np.int32)

    return draw


def made_lots(
    truth: Truth, rng: np.random.Generator, size: tuple[int, int], *, planned: int
) -> Lots:
    """Lots with their whole future: when each unit starts, ends, and is known to have ended."""
    lives = truth.lives(rng, size)
    failed = lives <= planned
    ran = np.minimum(lives, planned)
    hours = -(-ran // CYCLES_PER_HOUR)
    start = np.zeros(size, dtype=np.int32)
    free = np.zeros((size[0], STATIONS), dtype=np.int32)
    rows = np.arange(size[0])
    for place in range(size[1]):
        station = free.argmin(axis=1)
        start[:, place] = free[rows, station]
        free[rows, station] += hours[:, place]
    end = start + hours
    is_late = failed & (rng.random(size) < truth.late_share)
    known = np.where(is_late, end + truth.late_hours, end)
    overdue = np.full(size, NEVER)
    if truth.overdue_hours is not None:
        overdue = np.where(is_late, end + truth.overdue_hours, NEVER)
    return Lots(
        planned=planned,
        lives=lives,
        failed=failed,
        start=_hours(start),
        end=_hours(end),
        known=_hours(known),
        overdue=_hours(overdue),
    )


def _hours(counted: np.ndarray) -> np.ndarray:
    return np.minimum(counted, NEVER).astype(np.int16)


def cycles_at(lots: Lots, look: int) -> np.ndarray:
    """Cycles that are uploaded at a look: silent units stand where they were last heard of."""
    hours = np.where(look >= lots.known, NEVER, np.minimum(look, lots.end - lots.failed))
    ran = np.clip(hours - lots.start, 0, NEVER).astype(np.int32) * CYCLES_PER_HOUR
    return np.minimum(np.minimum(ran, lots.lives), lots.planned)


def seen_as_failed(lots: Lots, look: int) -> tuple[np.ndarray, np.ndarray]:
    """Units that have failed as far as is known, and with those that are overdue."""
    known = lots.failed & (look >= lots.known)
    return known, known | (lots.failed & (look >= lots.overdue))


def target_lives_of(cycles: np.ndarray) -> np.ndarray:
    """Target lives of units, each as the assumed shape says."""
    found: np.ndarray = (cycles / TARGET) ** SHAPE
    return found


def sums_when_failing(lots: Lots) -> np.ndarray:
    """Target lives of all units of a lot at the instant of each of its failures."""
    sums = np.full(lots.lives.shape, np.inf)
    for place in range(lots.lives.shape[1]):
        rows = np.flatnonzero(lots.failed[:, place])
        began = lots.start[rows].astype(np.int32) * CYCLES_PER_HOUR
        at = began[:, place] + lots.lives[rows, place]
        ran = np.clip(at[:, None] - began, 0, None)
        # Stations hand over at full hours: a unit that has ended ran to its end.
        ran = np.minimum(np.minimum(ran, lots.lives[rows]), lots.planned)
        sums[rows, place] = target_lives_of(ran).sum(axis=1)
    return sums


def lives_view(lots: Lots, look: int, sums: np.ndarray | None) -> LivesView:
    """All that a plan on target lives sees at a look; without `sums` it has no lines."""
    known, assumed = seen_as_failed(lots, look)
    at = with_overdue = np.empty((known.shape[0], 0))
    if sums is not None:
        at, with_overdue = (
            np.sort(np.where(failed, sums, np.inf), axis=1)[:, :_FIRST_FAILURES]
            for failed in (known, assumed)
        )
    return LivesView(
        total=target_lives_of(cycles_at(lots, look)).sum(axis=1),
        failures_to_accept=assumed.sum(axis=1),
        failures_to_refuse=known.sum(axis=1),
        sums_at_failures=at,
        sums_to_accept=with_overdue,
        ended=_all_ended(lots, look),
    )


def count_view(lots: Lots, look: int) -> CountView:
    """All that a plan by counting sees at a look."""
    known, assumed = seen_as_failed(lots, look)
    return CountView(
        passed=~lots.failed & (look >= lots.end),
        failed_to_accept=assumed,
        failed_to_refuse=known,
        started=lots.start < look,
        ended=_all_ended(lots, look),
    )


def _all_ended(lots: Lots, look: int) -> np.ndarray:
    found: np.ndarray = (look >= lots.known).all(axis=1)
    return found


def accepted_by_counting(lots: Lots, rules: Mapping[str, tuple[int, CountRule]]) -> dict[str, int]:
    """Lots that each rule accepts; a rule comes with the places of its plan."""
    open_for = {name: np.ones(lots.lives.shape[0], dtype=bool) for name in rules}
    accepted = dict.fromkeys(rules, 0)
    # Between two events nothing changes: a look there would say what the last one said.
    for look, changed in _changes(lots):
        for name, (places, rule) in rules.items():
            rows = changed[open_for[name][changed]]
            if rows.size:
                yes, no = rule(count_view(lots.places(places).chosen(rows), look))
                accepted[name] += int(yes.sum())
                open_for[name][rows[yes | no]] = False
    return accepted


def _changes(lots: Lots) -> Iterator[tuple[int, np.ndarray]]:
    """Looks at which something is new, in order, with the lots of which it is."""
    width = lots.lives.shape[0]
    rows_of = np.arange(width)[:, None]
    keys = np.unique(
        np.concatenate(
            [
                (hours.astype(np.int64) * width + rows_of)[hours < NEVER]
                for hours in (lots.known, lots.overdue)
            ]
        )
    )
    looks, rows = keys // width, keys % width
    bounds = np.flatnonzero(np.diff(looks)) + 1
    for part in np.split(np.arange(keys.size), bounds):
        yield int(looks[part[0]]), rows[part]


class _Window:
    """Lots under way, seen through the places that still change; the others are summed up."""

    def __init__(self, lots: Lots, *, has_lines: bool) -> None:
        self.lots, count = lots, lots.lives.shape[0]
        self.sums = sums_when_failing(lots) if has_lines else None
        self.settled = np.zeros(count)
        self.failures = np.zeros(count, dtype=np.int64)
        self.known_sums = np.full((count, _FIRST_FAILURES if has_lines else 0), np.inf)
        self.first = 0

    def keep(self, stays: np.ndarray) -> None:
        """Leave out the lots that have their verdict."""
        self.lots = self.lots.chosen(stays)
        self.sums = None if self.sums is None else self.sums[stays]
        self.settled, self.failures = self.settled[stays], self.failures[stays]
        self.known_sums = self.known_sums[stays]

    def view(self, look: int) -> LivesView:
        """What `lives_view` gives of all places."""
        self._settle(look)
        places = self.lots.lives.shape[1]
        until = self.first + int((self.lots.start[:, self.first :] < look).any(axis=0).sum())
        seen = lives_view(self._part(self.first, until), look, self._sums(self.first, until))
        return LivesView(
            total=self.settled + seen.total,
            failures_to_accept=self.failures + seen.failures_to_accept,
            failures_to_refuse=self.failures + seen.failures_to_refuse,
            sums_at_failures=self._with_settled(seen.sums_at_failures),
            sums_to_accept=self._with_settled(seen.sums_to_accept),
            ended=seen.ended & (until == places),
        )

    def _with_settled(self, sums: np.ndarray) -> np.ndarray:
        at: np.ndarray = np.sort(np.concatenate([self.known_sums, sums], axis=1), axis=1)
        return at[:, :_FIRST_FAILURES]

    def _settle(self, look: int) -> None:
        while self.first < self.lots.lives.shape[1]:
            part, sums = self._part(self.first, self.first + 1), self._sums(self.first, None)
            if not (look >= part.known).all():
                return
            self.settled += target_lives_of(cycles_at(part, look))[:, 0]
            self.failures += part.failed[:, 0]
            if sums is not None:
                self.known_sums = self._with_settled(sums[:, :1])
            self.first += 1

    def _part(self, first: int, until: int) -> Lots:
        cut = {name: getattr(self.lots, name)[:, first:until] for name in _ARRAYS}
        return Lots(planned=self.lots.planned, **cut)

    def _sums(self, first: int, until: int | None) -> np.ndarray | None:
        return None if self.sums is None else self.sums[:, first:until]


def accepted_by_lives(
    lots: Lots, rules: Mapping[str, LivesRule], *, has_lines: bool = False
) -> dict[str, int]:
    """Lots that each rule accepts, all with as many places as the lots have units."""
    window = _Window(lots, has_lines=has_lines)
    open_for = {name: np.ones(lots.lives.shape[0], dtype=bool) for name in rules}
    accepted = dict.fromkeys(rules, 0)
    last = max(int(each[each < NEVER].max(initial=0)) for each in (lots.known, lots.overdue))
    for look in range(1, last + 1):
        view = window.view(look)
        for name, rule in rules.items():
            mine = open_for[name]
            if mine.any():
                yes, no = rule(view)
                accepted[name] += int((yes & mine).sum())
                open_for[name] = mine & ~(yes | no)
        waiting = np.logical_or.reduce(list(open_for.values()))
        if not waiting.any():
            break
        if waiting.mean() < 0.9:
            stays = np.flatnonzero(waiting)
            window.keep(stays)
            open_for = {name: mine[stays] for name, mine in open_for.items()}
    return accepted


def standard_error(accepted: int, lots: int) -> float:
    """Of the share of accepted lots."""
    share = accepted / lots
    return math.sqrt(share * (1 - share) / lots)
