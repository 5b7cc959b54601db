-- Rows at the edges of stretches and laps: the first and the last by counter, and those of the
-- first and last block; `edges` names them.
SELECT stretch_key, lap, is_first, is_last, in_first_block, in_last_block, misses,
    stop_reason_key, station_cycle_total, is_burst, pressure_supply_mpa, started_at, decay_mpa,
    rise_time_s, calibration_key
FROM judged
JOIN edges USING (stretch_key, lap, cycle_in_run)
