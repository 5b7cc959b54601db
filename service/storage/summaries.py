"""Runs the stage-one texts over stored rows. The texts come from outside: no rule stands here."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from datetime import datetime
from typing import Any

import duckdb
from msgspec import Struct, structs

from schemas.stretches import NOT_COUNTED_REASONS

_PARAMETER = re.compile(r"\$([a-z_0-9]+)")
_COMMENT = re.compile(r"--[^\n]*")

_LATEST = datetime(9999, 1, 1)
_UNDER_PRESSURE = 1 << NOT_COUNTED_REASONS.index("UNDER_PRESSURE")
_BEFORE_ALL = -1
_KEEP = "CREATE OR REPLACE TEMP TABLE "
_REDUCING = f"{_KEEP} reducing AS SELECT unnest($keys::INTEGER[]) AS stretch_key"
_LAPPING = (
    f"{_KEEP} lapping AS SELECT unnest($keys::INTEGER[]) AS stretch_key, "
    "unnest($repeats::BOOLEAN[]) AS repeats"
)
_EXCEEDING = (
    f"{_KEEP} exceeding AS SELECT unnest($stretches::INTEGER[]) AS stretch_key, "
    "unnest($laps::INTEGER[]) AS lap, unnest($firsts::BIGINT[]) AS first_counter, "
    "unnest($lasts::BIGINT[]) AS last_counter"
)
_EDGES = (
    f"{_KEEP} edges AS SELECT unnest($stretches::INTEGER[]) AS stretch_key, "
    "unnest($laps::INTEGER[]) AS lap, unnest($counters::BIGINT[]) AS cycle_in_run, "
    "unnest($firsts::BOOLEAN[]) AS is_first, unnest($lasts::BOOLEAN[]) AS is_last"
)
_POINTS = (
    f"{_KEEP} points AS SELECT unnest($numbers::INTEGER[]) AS point_no, "
    "unnest($stretches::INTEGER[]) AS stretch_key, unnest($laps::INTEGER[]) AS lap, "
    "unnest($counters::BIGINT[]) AS last_cycle_in_run, "
    "unnest($starts::TIMESTAMP[]) AS last_started_at"
)
_CONFLICTING = (
    "SELECT DISTINCT stretch_key FROM conflicting_rows SEMI JOIN reducing USING (stretch_key)"
)

VARIANTS = ("as_stored", "kindest", "harshest")
"""How two conflicting rows are taken: the first received, the best or the worst for the unit.

A fourth name in the results, `by_clock`, stands for laps by start time where counter and clock
disagree."""


class VariantRows(Struct, frozen=True, kw_only=True):
    """Result rows of stage one for some stretches under one variant."""

    variant: str
    totals: list[tuple[Any, ...]]
    ends: list[tuple[Any, ...]]
    streaks: list[tuple[Any, ...]]
    attempts: list[tuple[Any, ...]]


class StageOne:
    """
    One pass of stage one over a set of stretches.

    Parameters
    ----------
    db : duckdb.DuckDBPyConnection
        Cursor of the store; temporary tables are made on it.
    texts : mapping of str to str
        Stage-one texts by name.
    parameters : mapping of str to object
        Bound parameters of the texts.
    streak_text : str or None
        Name of the text that finds sustained decay, None where none is judged.
    """

    def __init__(
        self,
        db: duckdb.DuckDBPyConnection,
        texts: Mapping[str, str],
        parameters: Mapping[str, Any],
        streak_text: str | None,
    ) -> None:
        self._db = db
        self._texts = {name: _COMMENT.sub("", text) for name, text in texts.items()}
        self._parameters = dict(parameters)
        self._streak_text = streak_text

    def run(self, stretch_keys: Collection[int]) -> list[VariantRows]:
        """Totals, ends and streaks of the stretches; conflicting ones in all three variants."""
        repeating = self._repeating(stretch_keys)
        conflicting = {row[0] for row in self._db.execute(_CONFLICTING).fetchall()}
        lapped = repeating | conflicting
        results = []
        if plain := set(stretch_keys) - lapped:
            self._choose(plain)
            results.append(self._reduce("stored_rows", "as_stored"))
            if falling := _where_the_clock_falls(results[0].ends):
                self._make_laps(falling, falling)
                rows = self._reduce("lapped_rows", "as_stored")
                results.append(structs.replace(rows, variant="by_clock"))
        if lapped:
            self._make_laps(lapped, repeating)
            results.append(self._reduce("lapped_rows", "as_stored"))
        if conflicting:
            self._make_laps(conflicting, repeating)
            results += [self._reduce("lapped_rows", variant) for variant in VARIANTS[1:]]
        return results

    def counted_at(
        self, points: Collection[tuple[int, int, int, int, Any]]
    ) -> dict[int, tuple[int, int]]:
        """
        Counted and logged cycles up to places in the rows.

        `points` are (point number, stretch, lap, last counter, last start); the
        answer gives (counted, logged) by point number.
        """
        if not points:
            return {}
        stretches = {point[1] for point in points}
        repeating = self._repeating(stretches)
        counts: dict[int, tuple[int, int]] = {}
        if plain := stretches - repeating:
            self._choose(plain)
            counts |= self._count("stored_rows", "as_stored", points)
        if repeating:
            self._make_laps(repeating, repeating)
            counts |= self._count("lapped_rows", "as_stored", points)
        return counts

    def findings(self, stretch_keys: Collection[int], upload_key: int) -> list[tuple[Any, ...]]:
        """Rows of one upload in these stretches by first reason (0 counts)."""
        self._choose(stretch_keys)
        self._parameters["upload_key"] = upload_key
        return self._query("uploaded_rows", "as_stored", "findings")

    def _choose(self, stretch_keys: Collection[int]) -> None:
        self._db.execute(_REDUCING, {"keys": sorted(stretch_keys)})

    def _repeating(self, stretch_keys: Collection[int]) -> set[int]:
        """Stretches whose counter was reset or wrapped."""
        self._choose(stretch_keys)
        return {row[0] for row in self._execute(self._texts["repeats"])}

    def _make_laps(self, lapped: Collection[int], repeating: Collection[int]) -> None:
        keys = sorted(lapped)
        self._db.execute(_LAPPING, {"keys": keys, "repeats": [key in repeating for key in keys]})
        for name in ("place", "laps", "conflicting_laps"):
            self._execute(self._texts[name])

    def _reduce(self, source: str, variant: str) -> VariantRows:
        totals = self._query(source, variant, "totals")
        exceeding = [row for row in totals if row[2] == 0 and row[4] > 0]
        return VariantRows(
            variant=variant,
            totals=totals,
            ends=self._ends(source, variant, totals),
            streaks=self._streaks(source, variant, exceeding),
            attempts=self._attempts(source, variant, totals),
        )

    def _streaks(
        self, source: str, variant: str, exceeding: list[tuple[Any, ...]]
    ) -> list[tuple[Any, ...]]:
        """Streaks with the counted and the logged number of their first cycle."""
        if self._streak_text is None or not exceeding:
            return []
        names = ("stretches", "laps", "firsts", "lasts")
        columns = [[row[place] for row in exceeding] for place in (0, 1, 8, 9)]
        self._db.execute(_EXCEEDING, dict(zip(names, columns, strict=True)))
        narrowing = f"{self._streak_text}_near"
        if narrowing in self._texts:
            self._execute(f"{_KEEP} near AS {self._text(source, variant, narrowing)}")
        streaks = self._query(source, variant, self._streak_text)
        points = [(n, row[0], row[1], row[3], _LATEST) for n, row in enumerate(streaks)]
        numbers = self._count(source, variant, points)
        return [(*row[:3], *numbers[number], *row[3:]) for number, row in enumerate(streaks)]

    def _attempts(
        self, source: str, variant: str, totals: list[tuple[Any, ...]]
    ) -> list[tuple[Any, ...]]:
        """Cycles below the lower limit with which a lap ends: (stretch, lap, cycles)."""
        cycles: dict[tuple[int, int], int] = defaultdict(int)
        last_low: dict[tuple[int, int], int] = {}
        last_other: dict[tuple[int, int], int] = {}
        for row in totals:
            lap = (row[0], row[1])
            cycles[lap] += row[3]
            last = last_low if _is_short(row[2]) else last_other
            last[lap] = max(row[9], last.get(lap, _BEFORE_ALL))
        ending_low = [
            lap for lap, last in last_low.items() if last > last_other.get(lap, _BEFORE_ALL)
        ]
        points = [
            (n, *lap, last_other.get(lap, _BEFORE_ALL), _LATEST) for n, lap in enumerate(ending_low)
        ]
        before = self._count(source, variant, points)
        return [
            (*lap, cycles[lap] - before.get(number, (0, 0))[1])
            for number, lap in enumerate(ending_low)
        ]

    def _ends(
        self, source: str, variant: str, totals: list[tuple[Any, ...]]
    ) -> list[tuple[Any, ...]]:
        edges: dict[tuple[int, int], tuple[int, int]] = {}
        for row in totals:
            lowest, highest = edges.get((row[0], row[1]), (row[8], row[9]))
            edges[row[0], row[1]] = (min(lowest, row[8]), max(highest, row[9]))
        rows = []
        for (stretch_key, lap), (lowest, highest) in edges.items():
            rows.append((stretch_key, lap, lowest, True, lowest == highest))
            if lowest != highest:
                rows.append((stretch_key, lap, highest, False, True))
        names = ("stretches", "laps", "counters", "firsts", "lasts")
        columns = {name: [row[place] for row in rows] for place, name in enumerate(names)}
        self._db.execute(_EDGES, columns)
        source = "stored_edges" if source == "stored_rows" else source
        return self._query(source, variant, "ends")

    def _count(
        self, source: str, variant: str, points: Collection[tuple[int, int, int, int, Any]]
    ) -> dict[int, tuple[int, int]]:
        """Counted and logged cycles by point number; a point without rows before it is left out."""
        if not points:
            return {}
        names = ("numbers", "stretches", "laps", "counters", "starts")
        columns = [list(column) for column in zip(*points, strict=True)]
        self._db.execute(_POINTS, dict(zip(names, columns, strict=True)))
        rows = self._query(source, variant, "counted_at")
        return {int(row[0]): (int(row[1]), int(row[2])) for row in rows}

    def _query(self, source: str, variant: str, question: str) -> list[tuple[Any, ...]]:
        return self._execute(self._text(source, variant, question))

    def _text(self, source: str, variant: str, question: str) -> str:
        self._parameters["with_conflicting"] = variant != "as_stored"
        parts = [self._texts[source], self._texts["judged"], self._texts[variant]]
        return "WITH " + ",\n".join(parts) + "\n" + self._texts[question]

    def _execute(self, text: str) -> list[tuple[Any, ...]]:
        named = set(_PARAMETER.findall(text))
        bound = {name: self._parameters[name] for name in named}
        return self._db.execute(text, bound).fetchall()


def _where_the_clock_falls(ends: Iterable[tuple[Any, ...]]) -> set[int]:
    """
    Stretches whose lowest counter started later than their highest.

    Either the clock was set or the counter was; the counter orders the rows, and
    laps by the clock are a second reading.
    """
    first_starts = {row[0]: row[9] for row in ends if row[2]}
    return {row[0] for row in ends if row[3] and first_starts[row[0]] > row[9]}


def _is_short(misses: int) -> bool:
    """Whether the first reason of a cycle is that it did not reach its lower limit."""
    return misses & -misses == _UNDER_PRESSURE
