-- Rows of the stretches to reduce, each stretch one lap: no counter value comes twice in it.
-- Keys in `reducing` are unique; a plain join costs half a scan less than SEMI JOIN.
source_rows AS NOT MATERIALIZED (
    SELECT stretch_key, 1 AS lap, cycle_in_run, started_at, pressure_peak_mpa,
        pressure_dwell_start_mpa, pressure_dwell_end_mpa, pressure_low_mpa, pressure_supply_mpa,
        rise_time_s, dwell_time_s, fluid_temperature_c, station_mode_key, stop_reason_key,
        station_cycle_total, sensor_key, calibration_key
    FROM cycle_rows
    JOIN reducing USING (stretch_key)
)
