-- Cycles that declared thinning left out between two counted neighbours, up to a place in the
-- rows of a stretch and lap. `thinned_rows` says of each row how many cycles it stands for.
, paired AS (
    SELECT stretch_key, lap, cycle_in_run, started_at, misses, logged_every,
        lag(cycle_in_run) OVER in_order AS cycle_before, lag(misses) OVER in_order AS misses_before
    FROM judged
    JOIN thinned_rows USING (stretch_key, cycle_in_run, started_at)
    WINDOW in_order AS (PARTITION BY stretch_key, lap ORDER BY cycle_in_run)
)
SELECT points.point_no, sum(logged_every - 1)::BIGINT AS inferred_cycles
FROM points
JOIN paired USING (stretch_key, lap)
WHERE misses = 0 AND misses_before = 0 AND logged_every > 1
    AND paired.cycle_in_run - cycle_before = logged_every
    AND paired.cycle_in_run <= points.last_cycle_in_run AND paired.started_at <= points.last_started_at
GROUP BY points.point_no
