-- The first received of two conflicting rows counts as stored.
judged AS NOT MATERIALIZED (SELECT * FROM judged_rows)
