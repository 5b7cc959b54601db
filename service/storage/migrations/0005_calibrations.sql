-- What checks of pressure sensors found, for a sensor and a time. Append-only: where two of one
-- sensor overlap, the newer one holds. Bodies are JSON as the schemas package writes it.

CREATE TABLE calibrations (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    calibration_key VARCHAR NOT NULL,
    calibration_id VARCHAR NOT NULL,
    sensor_id VARCHAR NOT NULL,
    from_at TIMESTAMPTZ NOT NULL,
    to_at TIMESTAMPTZ NOT NULL,
    body VARCHAR NOT NULL,
    recorded_at TIMESTAMPTZ NOT NULL,
    recorded_by VARCHAR NOT NULL,
    PRIMARY KEY (calibration_key),
    UNIQUE (calibration_id)
);
