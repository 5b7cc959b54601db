-- Place of a row in its stretch. The odometer orders the rows where every row has one, and the
-- start of the cycle where it has not, or where the odometer stood still.
CREATE OR REPLACE TEMP MACRO place_of(by_odometer, odometer, started_at) AS
    CASE WHEN by_odometer THEN odometer ELSE 0 END::HUGEINT * 4503599627370496
        + epoch_us(started_at)
