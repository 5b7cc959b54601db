-- Counted and logged cycles of a stretch and lap up to a place in its rows.
SELECT points.point_no, count(*) FILTER (misses = 0) AS counted, count(*) AS logged
FROM points
JOIN judged USING (stretch_key, lap)
WHERE judged.cycle_in_run <= points.last_cycle_in_run AND judged.started_at <= points.last_started_at
GROUP BY points.point_no
