"""Runs the stage-one texts over stored rows. The texts come from outside: no rule stands here."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from datetime import timedelta
from typing import Any

from msgspec import structs

from service.storage.stage_one_counts import KEEP, LATEST, StageOneCounts
from service.storage.stage_one_results import (
    COUNTED,
    VARIANTS,
    CountsByPoint,
    Point,
    VariantRows,
    cycles_of,
    edges_of,
    is_short,
    laps_with_gaps,
    where_the_clock_falls,
)
from service.storage.thinned_rows import keep_thinned_rows

_BEFORE_ALL = -1
_REDUCING = f"{KEEP} reducing AS SELECT DISTINCT unnest($keys::INTEGER[]) AS stretch_key"
_LAPPING = (
    f"{KEEP} lapping AS SELECT unnest($keys::INTEGER[]) AS stretch_key, "
    "unnest($repeats::BOOLEAN[]) AS repeats"
)
_EXCEEDING = (
    f"{KEEP} exceeding AS SELECT unnest($stretches::INTEGER[]) AS stretch_key, "
    "unnest($laps::INTEGER[]) AS lap, unnest($firsts::BIGINT[]) AS first_counter, "
    "unnest($lasts::BIGINT[]) AS last_counter"
)
_EDGES = f"""
{KEEP} edges AS
WITH laps AS (
    SELECT unnest($stretches::INTEGER[]) AS stretch_key, unnest($laps::INTEGER[]) AS lap,
        unnest($lows::BIGINT[]) AS lowest, unnest($highs::BIGINT[]) AS highest
),
places AS (
    SELECT stretch_key, lap, lowest AS cycle_in_run, 1 AS kind FROM laps
    UNION ALL
    SELECT stretch_key, lap, highest, 2 FROM laps
    UNION ALL
    SELECT stretch_key, lap,
        unnest(range(lowest + $settling::BIGINT, lowest + $settling + $block::BIGINT)), 4
    FROM laps WHERE highest - lowest + 1 >= $settling + $block
    UNION ALL
    SELECT stretch_key, lap, unnest(range(highest - $block::BIGINT + 1, highest + 1)), 8
    FROM laps WHERE highest - lowest + 1 >= $settling + $block
)
SELECT stretch_key, lap, cycle_in_run, bool_or(kind = 1) AS is_first, bool_or(kind = 2) AS is_last,
    bool_or(kind = 4) AS in_first_block, bool_or(kind = 8) AS in_last_block
FROM places
GROUP BY stretch_key, lap, cycle_in_run
"""
_CONFLICTING = (
    "SELECT DISTINCT stretch_key FROM conflicting_rows SEMI JOIN reducing USING (stretch_key)"
)


class StageOne(StageOneCounts):
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
    corrections : collection of RowCorrection, optional
        Readings that a calibration found to be off. Without any, nobody pays for them.
    """

    def run(self, stretch_keys: Collection[int]) -> list[VariantRows]:
        """Totals, ends and streaks of the stretches; conflicting ones in all three variants."""
        repeating = self._repeating(stretch_keys)
        conflicting = {row[0] for row in self._db.execute(_CONFLICTING).fetchall()}
        lapped = repeating | conflicting
        results = []
        if plain := set(stretch_keys) - lapped:
            self._choose(plain)
            results.append(self._reduce("stored_rows", "as_stored"))
            if falling := where_the_clock_falls(results[0].ends):
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

    def counted_at(self, points: Collection[Point]) -> CountsByPoint:
        """Cycles up to places in the rows, by what they miss; without rows a point is left out."""
        if not points:
            return {}
        stretches = {point[1] for point in points}
        repeating = self._repeating(stretches)
        counts: CountsByPoint = {}
        if plain := stretches - repeating:
            self._choose(plain)
            counts |= self._lived("stored_rows", "as_stored", points)
        if repeating:
            self._make_laps(repeating, repeating)
            counts |= self._lived("lapped_rows", "as_stored", points)
        return counts

    def findings(self, stretch_keys: Collection[int], upload_key: int) -> list[tuple[Any, ...]]:
        """Rows of one upload in these stretches by first reason (0 counts)."""
        self._choose(stretch_keys)
        self._parameters["upload_key"] = upload_key
        return self._query("uploaded_rows", "as_stored", "findings")

    def spacings(self, stretch_keys: Collection[int]) -> dict[int, timedelta]:
        """Median spacing of the rows of some stretches; without two rows a stretch is left out."""
        if not stretch_keys:
            return {}
        self._choose(stretch_keys)
        found = self._execute(self._texts["spacings"])
        return {row[0]: timedelta(microseconds=row[1]) for row in found}

    def _choose(self, stretch_keys: Collection[int]) -> None:
        self._db.execute(_REDUCING, {"keys": sorted(stretch_keys)})

    def _repeating(self, stretch_keys: Collection[int]) -> set[int]:
        """Stretches whose counter was reset or wrapped."""
        self._choose(stretch_keys)
        self._thinned = keep_thinned_rows(self._db)
        return {row[0] for row in self._execute(self._texts["repeats"])}

    def _make_laps(self, lapped: Collection[int], repeating: Collection[int]) -> None:
        keys = sorted(lapped)
        self._db.execute(_LAPPING, {"keys": keys, "repeats": [key in repeating for key in keys]})
        for name in ("place", "laps", "conflicting_laps"):
            self._execute(self._texts[name])

    def _reduce(self, source: str, variant: str) -> VariantRows:
        totals = self._query(source, variant, "totals")
        edges = edges_of(totals)
        self._keep_edge_rows(source, variant, edges)
        ends = self._execute(self._texts["ends"])
        block = self._parameters["block_cycles"]
        found = [] if block is None else self._execute(self._texts["baselines"])
        baselines = [(block, *row) for row in found]
        attempts = self._attempts(source, variant, totals)
        given_way = {(row[0], row[1]) for row in ends if row[3] and row[7]}
        given_way |= {(row[0], row[1]) for row in attempts}
        at_end = [(*lap, edges[lap][1]) for lap in sorted(given_way)]
        missing = self._missing_before(source, variant, totals, at_end)
        return VariantRows(
            variant=variant,
            totals=totals,
            ends=ends,
            streaks=self._streaks(source, variant, totals),
            attempts=attempts,
            peaks=self._peaks(source, variant, totals),
            missing_before_end=[(*place[:2], count) for place, count in missing.items()],
            missing_after_counted=self._missing_after_counted(source, variant, totals),
            inferred=self._inferred_in_laps(source, variant, edges, given_way),
            over_at_end=self._over_at_end(source, variant, totals),
            edge_cycles=self._edge_cycles(source, variant, totals),
            baselines=baselines,
            hours=self._hours(source, variant),
        )

    def _peaks(
        self, source: str, variant: str, totals: list[tuple[Any, ...]]
    ) -> list[tuple[Any, ...]]:
        """Where peaks were that void a unit or say less than the pressure was."""
        found = [row for row in totals if row[6] > 0 or row[7] > 0]
        if not found:
            return []
        self._look_at(found)
        return self._query(source, variant, "peaks")

    def _hours(self, source: str, variant: str) -> list[tuple[Any, ...]]:
        """Means by hour, where the specification watches the stations."""
        if not self._parameters["watches_stations"]:
            return []
        return self._query(source, variant, "station_hours")

    def _streaks(
        self, source: str, variant: str, totals: list[tuple[Any, ...]]
    ) -> list[tuple[Any, ...]]:
        """Streaks with the cycles up to their first one and the counters missing before it."""
        exceeding = [row for row in totals if row[2] == COUNTED and row[4] > 0]
        if self._streak_text is None or not exceeding:
            return []
        streaks = self._find_streaks(source, variant, exceeding)
        places = [(row[0], row[1], row[3]) for row in streaks]
        groups = self._up_to_failing(source, variant, places)
        missing = self._missing_before(source, variant, totals, places)
        behind_gap = [place for place in places if missing.get(place)]
        over = self._over_before(source, variant, [(*p[:2], p[2] - 1) for p in behind_gap])
        over_before = dict(zip(behind_gap, over, strict=True))
        return [
            (*row, groups[number], missing.get(place, 0), over_before.get(place, 0))
            for number, (row, place) in enumerate(zip(streaks, places, strict=True))
        ]

    def _find_streaks(
        self, source: str, variant: str, exceeding: list[tuple[Any, ...]]
    ) -> list[tuple[Any, ...]]:
        """Streaks of laps with exceedances; in thinned laps the neighbours are further apart."""
        assert self._streak_text is not None
        self._look_at(exceeding)
        narrowing = f"{self._streak_text}_near"
        if narrowing in self._texts:
            self._execute(f"{KEEP} near AS {self._text(source, variant, narrowing)}")
        streaks = self._query(source, variant, self._streak_text)
        thinned = [row for row in exceeding if row[0] in self._thinned]
        if not thinned:
            return streaks
        self._look_at(thinned)
        among_thinned = self._query(source, variant, f"{self._streak_text}_thinned")
        return [row for row in streaks if row[0] not in self._thinned] + among_thinned

    def _edge_cycles(
        self, source: str, variant: str, totals: list[tuple[Any, ...]]
    ) -> list[tuple[Any, ...]]:
        """First and last counted cycles, where the rule for decay can reach over a stop."""
        text = f"{self._streak_text}_edges"
        if text not in self._texts:
            return []
        rows = self._query(source, variant, text)
        places = [(row[0], row[1], row[2]) for row in rows]
        groups = self._up_to_failing(source, variant, places)
        missing = self._missing_before(source, variant, totals, places)
        return [
            (*row, groups[number], missing.get(places[number], 0))
            for number, row in enumerate(rows)
        ]

    def _over_at_end(
        self, source: str, variant: str, totals: list[tuple[Any, ...]]
    ) -> list[tuple[int, int, int]]:
        """Cycles over the limit at the end of laps with gaps: (stretch, lap, cycles)."""
        if self._streak_text is None:
            return []
        edges = edges_of(totals)
        exceeding = {(row[0], row[1]) for row in totals if row[2] == COUNTED and row[4] > 0}
        laps = sorted(exceeding & laps_with_gaps(totals))
        over = self._over_before(source, variant, [(*lap, edges[lap][1]) for lap in laps])
        return [(*lap, cycles) for lap, cycles in zip(laps, over, strict=True)]

    def _inferred_in_laps(
        self,
        source: str,
        variant: str,
        edges: Mapping[tuple[int, int], tuple[int, int]],
        given_way: Collection[tuple[int, int]],
    ) -> list[tuple[int, int, int]]:
        """Inferred cycles of thinned laps; before a last cycle that gave way none is."""
        laps = [lap for lap in edges if lap[0] in self._thinned]
        points = [
            (n, *lap, edges[lap][1] - (lap in given_way), LATEST) for n, lap in enumerate(laps)
        ]
        found = self._with_inferred({}, source, variant, points)
        return [(*laps[n], groups[0].inferred_cycles) for n, groups in found.items()]

    def _look_at(self, totals: Collection[tuple[Any, ...]]) -> None:
        """Narrow the texts that ask for it to some laps, each with its edges among these rows."""
        edges = edges_of(totals)
        columns = {
            "stretches": [lap[0] for lap in edges],
            "laps": [lap[1] for lap in edges],
            "firsts": [lowest for lowest, _ in edges.values()],
            "lasts": [highest for _, highest in edges.values()],
        }
        self._db.execute(_EXCEEDING, columns)

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
            last = last_low if is_short(row[2]) else last_other
            last[lap] = max(row[9], last.get(lap, _BEFORE_ALL))
        ending_low = [
            lap for lap, last in last_low.items() if last > last_other.get(lap, _BEFORE_ALL)
        ]
        points = [
            (n, *lap, last_other.get(lap, _BEFORE_ALL), LATEST) for n, lap in enumerate(ending_low)
        ]
        before = self._count(source, variant, points)
        return [
            (*lap, cycles[lap] - cycles_of(before.get(number, [])))
            for number, lap in enumerate(ending_low)
        ]

    def _keep_edge_rows(
        self, source: str, variant: str, edges: Mapping[tuple[int, int], tuple[int, int]]
    ) -> None:
        """
        Make the table `edge_rows`: first and last row of each lap, and of its blocks.

        The first block begins after the cycles in which a start settles; a lap too
        short for that and a block has none.
        """
        given = {
            "stretches": [lap[0] for lap in edges],
            "laps": [lap[1] for lap in edges],
            "lows": [lowest for lowest, _ in edges.values()],
            "highs": [highest for _, highest in edges.values()],
            "block": self._parameters["block_cycles"],
            "settling": self._parameters["settling_cycles"],
        }
        self._db.execute(_EDGES, given)
        source = "stored_edges" if source == "stored_rows" else source
        self._execute(f"{KEEP} edge_rows AS {self._text(source, variant, 'edge_rows')}")
