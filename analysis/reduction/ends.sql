-- First and last row of each stretch and lap, by counter; `edges` names them. A cycle outside the
-- test modes is not commanded to the test pressure: it cannot burst by staying below it.
SELECT stretch_key, lap, is_first, is_last, misses, stop_reason_key, station_cycle_total,
    coalesce((misses & 3) = 0 AND (pressure_peak_mpa < $burst_below_mpa
        OR pressure_dwell_end_mpa < $burst_below_mpa), FALSE) AS is_burst,
    pressure_supply_mpa, started_at
FROM judged
JOIN edges USING (stretch_key, lap, cycle_in_run)
