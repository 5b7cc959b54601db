-- Cycles of each stretch and lap by the reasons they miss.
SELECT stretch_key, lap, misses, count(*) AS cycles,
    count(*) FILTER (over_limit) AS over_limit_cycles,
    count(*) FILTER (condition_absent) AS condition_absent_cycles,
    count(*) FILTER (is_invalidating) AS invalidating_cycles,
    count(*) FILTER (is_clipped) AS clipped_cycles,
    min(cycle_in_run) AS lowest, max(cycle_in_run) AS highest,
    min(started_at) AS first_started_at, max(started_at) AS last_started_at
FROM judged
GROUP BY stretch_key, lap, misses
