-- Cycles of a stretch and lap up to a place in its rows, by the reasons they miss, and the last of
-- each kind by counter.
SELECT points.point_no, misses, count(*) AS cycles,
    count(CASE WHEN is_invalidating THEN 1 END) AS invalidating_cycles,
    count(CASE WHEN is_clipped THEN 1 END) AS clipped_cycles, max(judged.cycle_in_run) AS highest
FROM points
JOIN judged USING (stretch_key, lap)
WHERE judged.cycle_in_run <= points.last_cycle_in_run AND judged.started_at <= points.last_started_at
GROUP BY points.point_no, misses
