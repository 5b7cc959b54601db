-- Blocks of 100 cycles in which a mean of three can be over the limit: one of the three exceeds
-- it, so the block holds an exceedance or is at most two blocks with counted cycles away.
, blocks AS (
    SELECT stretch_key, lap, cycle_in_run // 100 AS block,
        count(*) FILTER (misses = 0) > 0 AS has_counted,
        count(*) FILTER (misses = 0 AND over_limit) AS exceeding
    FROM judged
    JOIN exceeding USING (stretch_key, lap)
    GROUP BY stretch_key, lap, block
),
ranked AS (
    SELECT *, count(*) FILTER (has_counted) OVER (PARTITION BY stretch_key, lap ORDER BY block
        ROWS UNBOUNDED PRECEDING) AS rank_no
    FROM blocks
)
SELECT stretch_key, lap, block
FROM ranked
QUALIFY max(exceeding) OVER (PARTITION BY stretch_key, lap ORDER BY rank_no
    RANGE BETWEEN 2 PRECEDING AND 2 FOLLOWING) > 0
