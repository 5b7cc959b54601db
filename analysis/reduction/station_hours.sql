-- Means of the counted cycles of each stretch and lap by the hour in which they started. The
-- sums are of whole millionths, so that they do not depend on the order of addition.
SELECT stretch_key, lap, date_trunc('hour', started_at) AS hour, count(*) AS counted_cycles,
    avg((pressure_peak_mpa * 1e6)::BIGINT) / 1e6 AS pressure_peak_mpa,
    avg((pressure_low_mpa * 1e6)::BIGINT) FILTER (abs(pressure_low_mpa) < 1e6) / 1e6
        AS pressure_low_mpa,
    avg((decay_mpa * 1e6)::BIGINT) FILTER (abs(decay_mpa) < 1e6) / 1e6 AS pressure_decay_mpa,
    avg((rise_time_s * 1e6)::BIGINT) FILTER (abs(rise_time_s) < 1e6) / 1e6 AS rise_time_s
FROM judged
WHERE misses = 0
GROUP BY stretch_key, lap, hour
ORDER BY stretch_key, lap, hour
