-- The same rows with true pressures where a calibration found that the sensor was off: true =
-- (reading - offset) / gain. What the readings said goes along: a reading, the end of the
-- sensor's scale and a burst are told from readings.
true_rows AS NOT MATERIALIZED (
    SELECT read.stretch_key, lap, cycle_in_run, started_at,
        (pressure_peak_mpa - coalesce(offset_mpa, 0)) / coalesce(gain, 1) AS pressure_peak_mpa,
        (pressure_dwell_start_mpa - coalesce(offset_mpa, 0)) / coalesce(gain, 1)
            AS pressure_dwell_start_mpa,
        (pressure_dwell_end_mpa - coalesce(offset_mpa, 0)) / coalesce(gain, 1)
            AS pressure_dwell_end_mpa,
        (pressure_low_mpa - coalesce(offset_mpa, 0)) / coalesce(gain, 1) AS pressure_low_mpa,
        pressure_supply_mpa, rise_time_s, dwell_time_s, fluid_temperature_c, station_mode_key,
        stop_reason_key, station_cycle_total, read.sensor_key, calibration_key,
        misses AS misses_of_reading, is_clipped AS is_reading_clipped,
        is_burst AS is_burst_in_reading
    FROM rows_as_read AS read
    LEFT JOIN row_corrections AS found ON found.stretch_key = read.stretch_key
        AND found.sensor_key = coalesce(read.sensor_key, -1)
        AND read.started_at >= from_at AND read.started_at < to_at
)
