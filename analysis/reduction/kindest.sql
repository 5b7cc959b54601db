-- Of conflicting rows, the one that is best for the unit: counted and within the limit.
judged AS NOT MATERIALIZED (
    SELECT * FROM judged_rows
    QUALIFY row_number() OVER (
        PARTITION BY stretch_key, lap, cycle_in_run, started_at
        ORDER BY (misses = 0 AND NOT over_limit) DESC, (misses <> 0) DESC
    ) = 1
)
