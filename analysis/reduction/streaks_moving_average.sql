-- First three counted cycles in a row, without a missing counter or another calibration between
-- them, whose mean pressure decay is over the limit. Only rows of the blocks in `near` are looked at.
, numbered AS (
    SELECT stretch_key, lap, cycle_in_run, misses, decay_mpa, calibration_key,
        row_number() OVER (PARTITION BY stretch_key, lap ORDER BY cycle_in_run) AS row_no
    FROM judged
    JOIN near USING (stretch_key, lap)
    WHERE near.block = judged.cycle_in_run // 100
),
triples AS (
    SELECT stretch_key, lap, cycle_in_run, row_no,
        lag(cycle_in_run, 2) OVER in_order AS first_cycle_in_run,
        lag(row_no, 2) OVER in_order AS first_row_no,
        avg(decay_mpa) OVER (PARTITION BY stretch_key, lap ORDER BY cycle_in_run
            ROWS 2 PRECEDING) AS mean_decay_mpa,
        count(decay_mpa) OVER (PARTITION BY stretch_key, lap ORDER BY cycle_in_run
            ROWS 2 PRECEDING) AS measured,
        min(calibration_key) OVER (PARTITION BY stretch_key, lap ORDER BY cycle_in_run
            ROWS 2 PRECEDING) AS lowest_calibration,
        max(calibration_key) OVER (PARTITION BY stretch_key, lap ORDER BY cycle_in_run
            ROWS 2 PRECEDING) AS highest_calibration
    FROM numbered
    WHERE misses = 0
    WINDOW in_order AS (PARTITION BY stretch_key, lap ORDER BY cycle_in_run)
)
SELECT stretch_key, lap, 3 AS length_cycles, first_cycle_in_run, FALSE AS is_leading,
    FALSE AS is_trailing
FROM triples
WHERE mean_decay_mpa > $decay_limit_mpa AND NOT isnan(mean_decay_mpa) AND measured = 3
    AND cycle_in_run - first_cycle_in_run = row_no - first_row_no
    AND coalesce(lowest_calibration = highest_calibration, TRUE)
QUALIFY row_number() OVER (PARTITION BY stretch_key, lap ORDER BY cycle_in_run) = 1
ORDER BY stretch_key, lap
