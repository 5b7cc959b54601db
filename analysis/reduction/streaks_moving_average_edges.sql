-- The first two and the last two counted cycles of each stretch and lap with their decay: a mean
-- of three can reach over the end of a run. Their counters first, then what they read: keeping
-- whole rows while counting costs twice as much.
, edge_counters AS (
    SELECT stretch_key, lap,
        unnest(list_concat(min(cycle_in_run, 2), max(cycle_in_run, 2))) AS cycle_in_run
    FROM judged
    WHERE misses = 0
    GROUP BY stretch_key, lap
)
SELECT DISTINCT stretch_key, lap, cycle_in_run, decay_mpa
FROM judged
JOIN edge_counters USING (stretch_key, lap, cycle_in_run)
ORDER BY stretch_key, lap, cycle_in_run
