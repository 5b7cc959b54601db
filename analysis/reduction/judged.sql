-- Why a cycle does not count: `misses` is 0 if it counts, else one bit for every reason, the
-- lowest being the first of them. A limit that the specification does not state is NULL and can
-- never be missed. NULL in a row: its upload has no
-- such column; NaN: the column is there, the cell says nothing. NaN sorts above every number.
judged_rows AS NOT MATERIALIZED (
    SELECT *,
        (CASE WHEN pressure_peak_mpa <= 0 OR pressure_peak_mpa > $no_reading_above_mpa
                OR pressure_low_mpa < -0.1 OR pressure_dwell_start_mpa < -0.1
                OR pressure_dwell_end_mpa < -0.1
                OR (pressure_low_mpa > $no_reading_above_mpa AND NOT isnan(pressure_low_mpa))
                OR (pressure_dwell_start_mpa > $no_reading_above_mpa
                    AND NOT isnan(pressure_dwell_start_mpa))
                OR (pressure_dwell_end_mpa > $no_reading_above_mpa
                    AND NOT isnan(pressure_dwell_end_mpa)) THEN 1 ELSE 0 END)
            + (CASE WHEN NOT CASE WHEN station_mode_key IS NULL THEN $test_mode_counts
                ELSE station_mode_key IN ($mode_1, $mode_2, $mode_3, $mode_4) END
                THEN 2 ELSE 0 END)
            + (CASE WHEN pressure_peak_mpa > $upper_mpa THEN 8
                WHEN pressure_peak_mpa < $lower_mpa THEN 16
                WHEN pressure_peak_mpa > $doubted_above_mpa
                    OR pressure_peak_mpa < $doubted_below_mpa THEN 2048 ELSE 0 END)
            + (CASE WHEN pressure_low_mpa > $low_max_mpa AND NOT isnan(pressure_low_mpa)
                THEN 32 ELSE 0 END)
            + (CASE WHEN rise_time_s < $rise_min_s
                OR (rise_time_s > $rise_max_s AND NOT isnan(rise_time_s)) THEN 64 ELSE 0 END)
            + (CASE WHEN dwell_time_s < $dwell_min_s THEN 128 ELSE 0 END)
            + (CASE WHEN fluid_temperature_c < $temperature_min_c
                OR (fluid_temperature_c > $temperature_max_c
                    AND NOT isnan(fluid_temperature_c)) THEN 256 ELSE 0 END)
            + (CASE WHEN ($needs_low AND isnan(pressure_low_mpa))
                OR ($needs_rise AND isnan(rise_time_s))
                OR ($needs_dwell AND isnan(dwell_time_s))
                OR ($needs_temperature AND isnan(fluid_temperature_c))
                OR ($needs_decay AND (isnan(pressure_dwell_start_mpa)
                    OR isnan(pressure_dwell_end_mpa))) THEN 512 ELSE 0 END) AS misses,
        (($needs_low AND pressure_low_mpa IS NULL)
            OR ($needs_rise AND rise_time_s IS NULL)
            OR ($needs_dwell AND dwell_time_s IS NULL)
            OR ($needs_temperature AND fluid_temperature_c IS NULL)
            OR ($needs_decay AND (pressure_dwell_start_mpa IS NULL
                OR pressure_dwell_end_mpa IS NULL))) AS condition_absent,
        -- A peak that is no reading is neither over a limit nor at the end of the scale.
        pressure_peak_mpa > $invalidation_mpa AND pressure_peak_mpa <= $highest_reading_mpa
            AS is_invalidating,
        pressure_peak_mpa >= $full_scale_mpa AND pressure_peak_mpa <= $highest_reading_mpa
            AS is_clipped,
        -- Within the sensor's uncertainty of an edge of the band, or beyond that edge.
        pressure_peak_mpa > $edge_above_mpa OR pressure_peak_mpa < $edge_below_mpa AS is_at_edge,
        pressure_dwell_start_mpa - pressure_dwell_end_mpa AS decay_mpa,
        coalesce(decay_mpa > $decay_limit_mpa AND NOT isnan(decay_mpa), FALSE) AS over_limit,
        -- A cycle outside the test modes is not commanded to the test pressure: it cannot burst
        -- by staying below it.
        coalesce((misses & 3) = 0 AND (pressure_peak_mpa < $burst_below_mpa
            OR pressure_dwell_end_mpa < $burst_below_mpa), FALSE) AS is_burst
    FROM source_rows
)
