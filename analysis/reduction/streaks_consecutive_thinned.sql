-- Streaks of counted cycles over the decay limit where logging was declared as thinned: two rows
-- are neighbours, too, if both count and are as far apart as the later one declares.
, stepped AS (
    SELECT stretch_key, lap, cycle_in_run, misses, over_limit, logged_every, first_counter,
        last_counter, calibration_key, lag(cycle_in_run) OVER in_order AS cycle_before,
        lag(misses) OVER in_order AS misses_before
    FROM judged
    JOIN exceeding USING (stretch_key, lap)
    JOIN thinned_rows USING (stretch_key, cycle_in_run, started_at)
    WINDOW in_order AS (PARTITION BY stretch_key, lap ORDER BY cycle_in_run)
),
islands AS (
    SELECT *, count(*) FILTER (
        (misses = 0 AND NOT over_limit) OR cycle_before IS NULL
        OR NOT (cycle_in_run - cycle_before = 1 OR (misses = 0 AND misses_before = 0
            AND cycle_in_run - cycle_before = logged_every))
    ) OVER (PARTITION BY stretch_key, lap ORDER BY cycle_in_run) AS island
    FROM stepped
),
streaks AS (
    SELECT stretch_key, lap, count(*) AS length_cycles, min(cycle_in_run) AS first_cycle_in_run,
        min(cycle_in_run) = any_value(first_counter) AS is_leading,
        max(cycle_in_run) = any_value(last_counter) AS is_trailing
    FROM islands
    WHERE misses = 0 AND over_limit
    GROUP BY stretch_key, lap, island, calibration_key
)
SELECT stretch_key, lap, length_cycles, first_cycle_in_run, is_leading, is_trailing
FROM streaks
WHERE length_cycles >= $persistent_cycles OR is_leading OR is_trailing
QUALIFY is_leading OR is_trailing
    OR row_number() OVER (PARTITION BY stretch_key, lap, length_cycles >= $persistent_cycles
        ORDER BY first_cycle_in_run) = 1
ORDER BY stretch_key, lap, first_cycle_in_run
