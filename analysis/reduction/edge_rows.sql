-- Rows at the edges of stretches and laps: the first and the last by counter, and those of the
-- first and last block; `edges` names them. A cycle outside the test modes is not commanded to
-- the test pressure: it cannot burst by staying below it.
SELECT stretch_key, lap, is_first, is_last, in_first_block, in_last_block, misses,
    stop_reason_key, station_cycle_total,
    coalesce((misses & 3) = 0 AND (pressure_peak_mpa < $burst_below_mpa
        OR pressure_dwell_end_mpa < $burst_below_mpa), FALSE) AS is_burst,
    pressure_supply_mpa, started_at, decay_mpa, rise_time_s
FROM judged
JOIN edges USING (stretch_key, lap, cycle_in_run)
