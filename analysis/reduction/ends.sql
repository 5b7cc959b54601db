-- First and last row of each stretch and lap, by counter.
SELECT stretch_key, lap, is_first, is_last, misses, stop_reason_key, station_cycle_total,
    is_burst, pressure_supply_mpa, started_at, calibration_key
FROM edge_rows
WHERE is_first OR is_last
ORDER BY stretch_key, lap, is_last
