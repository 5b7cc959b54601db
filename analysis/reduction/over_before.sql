-- Counted cycles over the decay limit with which the rows up to a place end, whatever lacks among
-- them: those after the last counted cycle that is not over it.
, sound AS (
    SELECT points.point_no,
        max(judged.cycle_in_run) FILTER (misses = 0 AND NOT over_limit) AS last_sound
    FROM points
    JOIN judged USING (stretch_key, lap)
    WHERE judged.cycle_in_run <= points.last_cycle_in_run
    GROUP BY points.point_no
)
SELECT points.point_no, count(*) AS cycles
FROM points
JOIN sound USING (point_no)
JOIN judged USING (stretch_key, lap)
WHERE misses = 0 AND judged.cycle_in_run <= points.last_cycle_in_run
    AND judged.cycle_in_run > coalesce(last_sound, -1)
GROUP BY points.point_no
