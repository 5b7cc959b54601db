-- Where the laps of the repeating stretches begin: a counter that does not rise begins the next
-- lap. Stretches that do not repeat are one lap. A lap holds the places from one to the next.
CREATE OR REPLACE TEMP TABLE lap_ranges AS
WITH ways AS (
    SELECT stretch_key, repeats, count(station_cycle_total) = count(*) AS by_odometer
    FROM cycle_rows
    JOIN lapping USING (stretch_key)
    GROUP BY stretch_key, repeats
),
placed AS (
    SELECT stretch_key, by_odometer, cycle_in_run,
        place_of(by_odometer, station_cycle_total, started_at) AS place
    FROM cycle_rows
    JOIN ways USING (stretch_key)
    WHERE repeats
),
stepped AS (
    SELECT *, cycle_in_run <= lag(cycle_in_run) OVER (
        PARTITION BY stretch_key ORDER BY place, cycle_in_run) AS begins_lap
    FROM placed
),
starts AS (
    SELECT stretch_key, by_odometer, -(2::HUGEINT ** 120)::HUGEINT AS from_place
    FROM ways
    UNION ALL
    SELECT stretch_key, by_odometer, place
    FROM stepped
    WHERE begins_lap
)
SELECT stretch_key, by_odometer, from_place, row_number() OVER in_order AS lap,
    lead(from_place, 1, (2::HUGEINT ** 120)::HUGEINT) OVER in_order AS to_place,
    count(*) OVER (PARTITION BY stretch_key) > 100 AS has_many_laps
FROM starts
WINDOW in_order AS (PARTITION BY stretch_key ORDER BY from_place)
