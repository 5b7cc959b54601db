-- Blocks of counted cycles of each stretch and lap: where they lie, the medians of what their
-- counted cycles show, their mean temperature. A cycle that does not count lies in the block of
-- the next one that does; what comes after the last counted cycle of all may be a block of its own. The mean
-- is of whole millionths, so that it does not depend on the order of addition.
, numbered AS (
    SELECT judged.stretch_key, judged.lap, cycle_in_run, misses, started_at, sensor_key,
        decay_mpa, pressure_peak_mpa, rise_time_s, fluid_temperature_c, place,
        (counted_before + bit_count(
            bits & ((1::UBIGINT << (cycle_in_run & 63)::UBIGINT) - 1::UBIGINT)
        )) // $cycles_of_a_block::BIGINT AS block
    FROM judged
    JOIN block_chunks ON place = (judged.stretch_key::BIGINT << 32) + judged.lap
        AND chunk = cycle_in_run // 64
)
SELECT any_value(stretch_key) AS stretch_key, any_value(lap) AS lap, block,
    count(*) AS logged_cycles, count(*) FILTER (misses = 0) AS counted_cycles,
    min(cycle_in_run) AS lowest, max(cycle_in_run) AS highest,
    min(cycle_in_run) FILTER (misses = 0) AS first_cycle_in_run,
    max(cycle_in_run) FILTER (misses = 0) AS last_cycle_in_run,
    min(started_at) FILTER (misses = 0) AS first_started_at,
    min(sensor_key) FILTER (misses = 0) AS sensor_key,
    count(CASE WHEN misses = 0 AND NOT isnan(decay_mpa) THEN 1 END) AS decays,
    median(CASE WHEN misses = 0 AND NOT isnan(decay_mpa) THEN decay_mpa END) AS decay_mpa,
    avg((fluid_temperature_c * 1e6)::BIGINT) FILTER (misses = 0 AND abs(fluid_temperature_c) < 1e6)
        / 1e6 AS fluid_temperature_c,
    median(CASE WHEN $with_details AND misses = 0 THEN pressure_peak_mpa END)
        AS pressure_peak_mpa,
    median(CASE WHEN $with_details AND misses = 0 AND NOT isnan(rise_time_s)
        THEN rise_time_s END) AS rise_time_s
FROM numbered
GROUP BY place, block
ORDER BY place, block
