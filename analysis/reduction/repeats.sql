-- Stretches that need laps: a counter value comes twice (a reset), the counter passed its end (a
-- wrap), or it does not keep step with the odometer (a reset may have lost the rows it repeats).
WITH per_block AS (
    SELECT stretch_key, cycle_in_run // 64 AS block, count(*) AS logged,
        bit_count(bit_or(1::UBIGINT << (cycle_in_run & 63)::UBIGINT)) AS distinct_counters,
        min(cycle_in_run) AS lowest, max(cycle_in_run) AS highest,
        count(station_cycle_total) AS odometers,
        min(station_cycle_total - cycle_in_run) AS least_ahead,
        max(station_cycle_total - cycle_in_run) AS most_ahead
    FROM cycle_rows
    JOIN reducing USING (stretch_key)
    GROUP BY stretch_key, block
)
SELECT stretch_key
FROM per_block
GROUP BY stretch_key
HAVING sum(logged) <> sum(distinct_counters)
    OR (min(lowest) <= 1 AND max(highest) IN (65535, 4294967295))
    OR (sum(odometers) = sum(logged) AND min(least_ahead) <> max(most_ahead))
