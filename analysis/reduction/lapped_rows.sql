-- Rows of the stretches whose laps were worked out beforehand. A join over ranges is fast for a
-- few laps; where a broken clock leaves hundreds, the rows are sorted instead.
source_rows AS NOT MATERIALIZED (
    SELECT stretch_key, lap, cycle_in_run, started_at, pressure_peak_mpa,
        pressure_dwell_start_mpa, pressure_dwell_end_mpa, pressure_low_mpa, pressure_supply_mpa,
        rise_time_s, dwell_time_s, fluid_temperature_c, station_mode_key, stop_reason_key,
        station_cycle_total, sensor_key, calibration_key
    FROM cycle_rows
    JOIN (FROM lap_ranges WHERE NOT has_many_laps) AS few_laps USING (stretch_key)
    WHERE place_of(by_odometer, station_cycle_total, started_at) >= from_place
        AND place_of(by_odometer, station_cycle_total, started_at) < to_place
    UNION ALL
    SELECT placed.stretch_key, lap, cycle_in_run, started_at, pressure_peak_mpa,
        pressure_dwell_start_mpa, pressure_dwell_end_mpa, pressure_low_mpa, pressure_supply_mpa,
        rise_time_s, dwell_time_s, fluid_temperature_c, station_mode_key, stop_reason_key,
        station_cycle_total, sensor_key, calibration_key
    FROM (
        SELECT cycle_rows.*, place_of(by_odometer, station_cycle_total, started_at) AS place
        FROM cycle_rows
        JOIN (SELECT DISTINCT stretch_key, by_odometer FROM lap_ranges WHERE has_many_laps) AS many
            USING (stretch_key)
    ) AS placed
    ASOF JOIN (FROM lap_ranges WHERE has_many_laps) AS many_laps
        ON many_laps.stretch_key = placed.stretch_key AND placed.place >= many_laps.from_place
    UNION ALL
    SELECT stretch_key, lap, cycle_in_run, started_at, pressure_peak_mpa,
        pressure_dwell_start_mpa, pressure_dwell_end_mpa, pressure_low_mpa, pressure_supply_mpa,
        rise_time_s, dwell_time_s, fluid_temperature_c, station_mode_key, stop_reason_key,
        station_cycle_total, sensor_key, calibration_key
    FROM conflicting_rows
    JOIN conflicting_laps USING (stretch_key, cycle_in_run, started_at)
    WHERE $with_conflicting
)
