-- Where in a stretch and lap peaks were over the invalidation limit or at the sensor's full scale.
SELECT stretch_key, lap, coalesce(is_invalidating, FALSE) AS is_over,
    coalesce(is_clipped, FALSE) AS is_at_full_scale, min(cycle_in_run) AS lowest,
    max(cycle_in_run) AS highest, max(pressure_peak_mpa) AS highest_peak_mpa
FROM judged
JOIN exceeding USING (stretch_key, lap)
WHERE is_invalidating OR is_clipped
GROUP BY stretch_key, lap, is_over, is_at_full_scale
ORDER BY stretch_key, lap, is_over, is_at_full_scale
