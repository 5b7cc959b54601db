-- Rows of one upload that do not count, by first reason and run.
SELECT stretch_key, misses, count(*) AS cycles, min(cycle_in_run) AS first_cycle_in_run,
    max(cycle_in_run) AS last_cycle_in_run
FROM judged
GROUP BY stretch_key, misses
ORDER BY stretch_key, misses
