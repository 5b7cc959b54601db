-- Reasons once both the readings and the true pressures were judged. A cycle that counted on its
-- reading, or was short of pressure only in truth, was found out by the calibration: that is its
-- reason, and not that the rig was short of pressure. Whether there was a reading at all, and
-- whether it stood at the end of the scale, only the reading says; what looked like no burst
-- does not become one.
judged_rows AS NOT MATERIALIZED (
    SELECT * EXCLUDE (misses, is_clipped, is_burst, misses_of_reading, is_reading_clipped,
            is_burst_in_reading),
        (misses - (misses & 1) + (misses_of_reading & 1))
            + CASE WHEN (misses & 16) > (misses_of_reading & 16) THEN 4 - 16
                WHEN misses_of_reading = 0 AND misses <> (misses & 1) THEN 4 ELSE 0 END AS misses,
        is_reading_clipped AS is_clipped, is_burst AND is_burst_in_reading AS is_burst
    FROM true_judged
)
