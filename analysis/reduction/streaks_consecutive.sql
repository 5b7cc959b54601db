-- Streaks of counted cycles over the decay limit. Cycles that do not count neither count nor
-- break a streak; a missing counter or another calibration breaks it. So a streak is what counts
-- among neighbouring counters that all exceed the limit or do not count: sound cycles need not be
-- looked at.
, standing_out AS (
    SELECT stretch_key, lap, cycle_in_run, misses = 0 AS exceeds, first_counter, last_counter,
        calibration_key
    FROM judged
    JOIN exceeding USING (stretch_key, lap)
    WHERE misses <> 0 OR over_limit
),
islands AS (
    SELECT *, cycle_in_run - row_number() OVER (
        PARTITION BY stretch_key, lap ORDER BY cycle_in_run) AS island
    FROM standing_out
),
streaks AS (
    SELECT stretch_key, lap, count(*) AS length_cycles, min(cycle_in_run) AS first_cycle_in_run,
        min(cycle_in_run) = any_value(first_counter) AS is_leading,
        max(cycle_in_run) = any_value(last_counter) AS is_trailing
    FROM islands
    WHERE exceeds
    GROUP BY stretch_key, lap, island, calibration_key
)
SELECT stretch_key, lap, length_cycles, first_cycle_in_run, is_leading, is_trailing
FROM streaks
WHERE length_cycles >= $persistent_cycles OR is_leading OR is_trailing
QUALIFY is_leading OR is_trailing
    OR row_number() OVER (PARTITION BY stretch_key, lap, length_cycles >= $persistent_cycles
        ORDER BY first_cycle_in_run) = 1
ORDER BY stretch_key, lap, first_cycle_in_run
