-- Median time from the start of a row of a stretch to the start of the next, in microseconds.
SELECT stretch_key, median(spacing_us)::BIGINT AS median_spacing_us
FROM (
    SELECT stretch_key, epoch_us(started_at) - lag(epoch_us(started_at)) OVER (
        PARTITION BY stretch_key ORDER BY started_at) AS spacing_us
    FROM cycle_rows
    JOIN reducing USING (stretch_key)
)
WHERE spacing_us IS NOT NULL
GROUP BY stretch_key
ORDER BY stretch_key
