-- Rows that one upload added to some stretches. Which lap they belong to does not matter here.
source_rows AS NOT MATERIALIZED (
    SELECT stretch_key, 1 AS lap, cycle_in_run, started_at, pressure_peak_mpa,
        pressure_dwell_start_mpa, pressure_dwell_end_mpa, pressure_low_mpa, pressure_supply_mpa,
        rise_time_s, dwell_time_s, fluid_temperature_c, station_mode_key, stop_reason_key,
        station_cycle_total, sensor_key, calibration_key
    FROM cycle_rows
    JOIN reducing USING (stretch_key)
    WHERE upload_key = $upload_key
)
