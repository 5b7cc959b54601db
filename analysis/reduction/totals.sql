-- Cycles of each stretch and lap by the reasons they miss. Counting a CASE takes a
-- third less time than FILTER.
SELECT stretch_key, lap, misses, count(*) AS cycles,
    count(CASE WHEN over_limit THEN 1 END) AS over_limit_cycles,
    count(CASE WHEN condition_absent THEN 1 END) AS condition_absent_cycles,
    count(CASE WHEN is_invalidating THEN 1 END) AS invalidating_cycles,
    count(CASE WHEN is_clipped THEN 1 END) AS clipped_cycles,
    min(cycle_in_run) AS lowest, max(cycle_in_run) AS highest,
    min(started_at) AS first_started_at, max(started_at) AS last_started_at,
    count(CASE WHEN is_at_edge THEN 1 END) AS at_edge_cycles
FROM judged
GROUP BY stretch_key, lap, misses
