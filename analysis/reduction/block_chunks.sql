-- Counted cycles before each 64 counters of a stretch and lap, and which of the 64 count, as bits.
-- So the number of a cycle among the counted ones is told without sorting the rows.
SELECT place, chunk, bits,
    (sum(bit_count(bits)) OVER (PARTITION BY place ORDER BY chunk ROWS UNBOUNDED PRECEDING)
        - bit_count(bits))::BIGINT AS counted_before
FROM (
    SELECT (stretch_key::BIGINT << 32) + lap AS place, cycle_in_run // 64 AS chunk,
        bit_or(CASE WHEN misses = 0 THEN 1::UBIGINT << (cycle_in_run & 63)::UBIGINT
            ELSE 0::UBIGINT END) AS bits
    FROM judged
    GROUP BY place, chunk
)
