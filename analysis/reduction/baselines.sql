-- Median pressure decay and rise time of the counted cycles in the first block of a stretch and
-- lap after its start has settled, and in its last block.
SELECT stretch_key, lap,
    count(settled_decay) FILTER (in_first_block) AS first_decays,
    median(settled_decay) FILTER (in_first_block) AS first_decay_mpa,
    count(settled_rise) FILTER (in_first_block) AS first_rises,
    median(settled_rise) FILTER (in_first_block) AS first_rise_time_s,
    count(settled_decay) FILTER (in_last_block) AS last_decays,
    median(settled_decay) FILTER (in_last_block) AS last_decay_mpa,
    count(settled_rise) FILTER (in_last_block) AS last_rises,
    median(settled_rise) FILTER (in_last_block) AS last_rise_time_s
FROM (
    SELECT stretch_key, lap, in_first_block, in_last_block,
        CASE WHEN NOT isnan(decay_mpa) THEN decay_mpa END AS settled_decay,
        CASE WHEN NOT isnan(rise_time_s) THEN rise_time_s END AS settled_rise
    FROM edge_rows
    WHERE misses = 0 AND (in_first_block OR in_last_block)
)
GROUP BY stretch_key, lap
ORDER BY stretch_key, lap
