"""Counts cycles up to places in the rows: what every other question of stage one builds on."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

import duckdb

from schemas.sensor_corrections import RowCorrection
from schemas.stretches import CycleGroup
from service.storage.sensor_corrections import judged_parts, keep_row_corrections
from service.storage.stage_one_results import (
    COUNTED,
    CountsByPoint,
    Point,
    cycles_of,
    edges_of,
    laps_with_gaps,
)

_PARAMETER = re.compile(r"\$([a-z_0-9]+)")
_COMMENT = re.compile(r"--[^\n]*")

LATEST = datetime(9999, 1, 1)
KEEP = "CREATE OR REPLACE TEMP TABLE "
_POINTS = (
    f"{KEEP} points AS SELECT unnest($numbers::INTEGER[]) AS point_no, "
    "unnest($stretches::INTEGER[]) AS stretch_key, unnest($laps::INTEGER[]) AS lap, "
    "unnest($counters::BIGINT[]) AS last_cycle_in_run, "
    "unnest($starts::TIMESTAMP[]) AS last_started_at"
)


class StageOneCounts:
    """The texts of stage one with their parameters bound, and counts up to places by them."""

    def __init__(
        self,
        db: duckdb.DuckDBPyConnection,
        texts: Mapping[str, str],
        parameters: Mapping[str, Any],
        streak_text: str | None,
        corrections: Collection[RowCorrection] = (),
    ) -> None:
        self._db = db
        self._texts = {name: _COMMENT.sub("", text) for name, text in texts.items()}
        self._parameters = dict(parameters)
        self._streak_text = streak_text
        self._thinned: set[int] = set()
        self._is_corrected = bool(corrections)
        keep_row_corrections(db, corrections)

    def _lived(self, source: str, variant: str, points: Collection[Point]) -> CountsByPoint:
        """Cycles up to places, with those that declared thinning left out."""
        counts = self._count(source, variant, points)
        return self._with_inferred(counts, source, variant, points)

    def _with_inferred(
        self, counts: CountsByPoint, source: str, variant: str, points: Collection[Point]
    ) -> CountsByPoint:
        asked = [point for point in points if point[1] in self._thinned]
        if not asked:
            return counts
        self._keep_points(asked)
        for point_no, cycles in self._query(source, variant, "inferred_at"):
            group = CycleGroup(misses=COUNTED, cycles=0, inferred_cycles=cycles)
            counts.setdefault(point_no, []).append(group)
        return counts

    def _up_to_failing(
        self, source: str, variant: str, places: Sequence[tuple[int, int, int]]
    ) -> CountsByPoint:
        """Cycles up to cycles that may have failed: what was left out before each is not among."""
        points = [(n, *place, LATEST) for n, place in enumerate(places)]
        before = [(n, *place[:2], place[2] - 1, LATEST) for n, place in enumerate(places)]
        return self._with_inferred(self._count(source, variant, points), source, variant, before)

    def _over_before(
        self, source: str, variant: str, places: Sequence[tuple[int, int, int]]
    ) -> list[int]:
        """Counted cycles over the limit with which the rows up to each place end."""
        if not places:
            return []
        self._keep_points([(n, *place, LATEST) for n, place in enumerate(places)])
        found: dict[int, int] = dict(self._query(source, variant, "over_before"))
        return [found.get(number, 0) for number in range(len(places))]

    def _missing_before(
        self,
        source: str,
        variant: str,
        totals: list[tuple[Any, ...]],
        places: Iterable[tuple[int, int, int]],
    ) -> dict[tuple[int, int, int], int]:
        """
        Counters that lack between cycles and the counted cycle before each, by place.

        `places` are (stretch, lap, counter); one before which none lacks may be left out.
        Where no cycle of the lap was counted before, those from counter 1 on.
        """
        edges, gapped = edges_of(totals), laps_with_gaps(totals)
        asked = [place for place in places if place[:2] in gapped]
        before = self._count(
            source, variant, [(n, *p[:2], p[2] - 1, LATEST) for n, p in enumerate(asked)]
        )
        counted = {
            n: group.highest
            for n, groups in before.items()
            for group in groups
            if group.misses == COUNTED
        }
        apart = [(n, *asked[n][:2], last, LATEST) for n, last in counted.items()]
        up_to_counted = self._count(source, variant, apart)
        missing = {}
        for n, place in enumerate(asked):
            from_counter = counted[n] + 1 if n in counted else min(edges[place[:2]][0], 1)
            logged = cycles_of(before.get(n, [])) - cycles_of(up_to_counted.get(n, []))
            missing[place] = place[2] - from_counter - logged
        return missing

    def _missing_after_counted(
        self, source: str, variant: str, totals: list[tuple[Any, ...]]
    ) -> list[tuple[int, int, int]]:
        """Counters that lack after a lap's last counted cycle: (stretch, lap, counters)."""
        counted = edges_of(row for row in totals if row[2] == COUNTED)
        ends = {lap: highest for lap, (_, highest) in edges_of(totals).items()}
        unsettled = [
            lap for lap in laps_with_gaps(totals) if lap in counted and counted[lap][1] < ends[lap]
        ]
        # What lacks before a cycle after the last one is what lacks after the last counted one.
        places = [(*lap, ends[lap] + 1) for lap in sorted(unsettled)]
        found = self._missing_before(source, variant, totals, places)
        return [(*place[:2], missing) for place, missing in found.items()]

    def _count(self, source: str, variant: str, points: Collection[Point]) -> CountsByPoint:
        """Groups of cycles by point number; a point without rows before it is left out."""
        if not points:
            return {}
        self._keep_points(points)
        counts: CountsByPoint = defaultdict(list)
        for point_no, *group in self._query(source, variant, "counted_at"):
            counts[point_no].append(
                CycleGroup(**dict(zip(CycleGroup.__struct_fields__, group, strict=False)))
            )
        return dict(counts)

    def _keep_points(self, points: Collection[Point]) -> None:
        names = ("numbers", "stretches", "laps", "counters", "starts")
        columns = [list(column) for column in zip(*points, strict=True)]
        self._db.execute(_POINTS, dict(zip(names, columns, strict=True)))

    def _query(self, source: str, variant: str, question: str) -> list[tuple[Any, ...]]:
        return self._execute(self._text(source, variant, question))

    def _text(self, source: str, variant: str, question: str) -> str:
        self._parameters["with_conflicting"] = variant != "as_stored"
        judged = judged_parts(self._texts, corrected=self._is_corrected)
        parts = [self._texts[source], *judged, self._texts[variant]]
        return "WITH " + ",\n".join(parts) + "\n" + self._texts[question]

    def _execute(self, text: str) -> list[tuple[Any, ...]]:
        named = set(_PARAMETER.findall(text))
        bound = {name: self._parameters[name] for name in named}
        return self._db.execute(text, bound).fetchall()
