-- A conflicting row takes the lap of the stored row with the same identity.
CREATE OR REPLACE TEMP TABLE conflicting_laps AS
SELECT DISTINCT cycle_rows.stretch_key, cycle_rows.cycle_in_run, cycle_rows.started_at, lap
FROM conflicting_rows
JOIN cycle_rows USING (stretch_key, cycle_in_run, started_at)
JOIN lap_ranges ON lap_ranges.stretch_key = cycle_rows.stretch_key
    AND place_of(by_odometer, cycle_rows.station_cycle_total, started_at) >= from_place
    AND place_of(by_odometer, cycle_rows.station_cycle_total, started_at) < to_place
