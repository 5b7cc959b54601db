-- First three counted cycles in a row whose mean pressure decay is over the limit, where logging
-- was declared as thinned: two rows are neighbours, too, if both count and are as far apart as
-- the later one declares.
, stepped AS (
    SELECT stretch_key, lap, cycle_in_run, misses, decay_mpa, calibration_key,
        cycle_in_run - lag(cycle_in_run) OVER in_order AS step, logged_every,
        lag(misses) OVER in_order AS misses_before
    FROM judged
    JOIN exceeding USING (stretch_key, lap)
    JOIN thinned_rows USING (stretch_key, cycle_in_run, started_at)
    WINDOW in_order AS (PARTITION BY stretch_key, lap ORDER BY cycle_in_run)
),
parted AS (
    SELECT *, count(*) FILTER (step > 1 AND NOT (misses = 0 AND misses_before = 0
        AND step = logged_every)) OVER (PARTITION BY stretch_key, lap ORDER BY cycle_in_run) AS part
    FROM stepped
),
triples AS (
    SELECT stretch_key, lap, cycle_in_run,
        lag(cycle_in_run, 2) OVER in_order AS first_cycle_in_run,
        avg(decay_mpa) OVER (PARTITION BY stretch_key, lap, part ORDER BY cycle_in_run
            ROWS 2 PRECEDING) AS mean_decay_mpa,
        count(decay_mpa) OVER (PARTITION BY stretch_key, lap, part ORDER BY cycle_in_run
            ROWS 2 PRECEDING) AS measured,
        min(calibration_key) OVER (PARTITION BY stretch_key, lap, part ORDER BY cycle_in_run
            ROWS 2 PRECEDING) AS lowest_calibration,
        max(calibration_key) OVER (PARTITION BY stretch_key, lap, part ORDER BY cycle_in_run
            ROWS 2 PRECEDING) AS highest_calibration
    FROM parted
    WHERE misses = 0
    WINDOW in_order AS (PARTITION BY stretch_key, lap, part ORDER BY cycle_in_run)
)
SELECT stretch_key, lap, 3 AS length_cycles, first_cycle_in_run, FALSE AS is_leading,
    FALSE AS is_trailing
FROM triples
WHERE mean_decay_mpa > $decay_limit_mpa AND NOT isnan(mean_decay_mpa) AND measured = 3
    AND coalesce(lowest_calibration = highest_calibration, TRUE)
QUALIFY row_number() OVER (PARTITION BY stretch_key, lap ORDER BY cycle_in_run) = 1
ORDER BY stretch_key, lap
