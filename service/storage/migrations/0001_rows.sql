-- Rows of the uploaded tables and the integer keys that they are stored under.
-- Facts only: nothing here is ever updated or deleted.

CREATE TABLE lots (
    lot_key INTEGER PRIMARY KEY,
    lot_id VARCHAR NOT NULL UNIQUE,
    lot_number VARCHAR NOT NULL UNIQUE,
    first_seen_at TIMESTAMPTZ NOT NULL
);

CREATE TABLE units (
    unit_key INTEGER PRIMARY KEY,
    unit_id VARCHAR NOT NULL UNIQUE,
    lot_key INTEGER NOT NULL,
    unit_serial VARCHAR NOT NULL,
    UNIQUE (lot_key, unit_serial)
);

-- A stretch without its lap: the laps are found by the reduction.
CREATE TABLE stretch_bases (
    stretch_key INTEGER PRIMARY KEY,
    rig_id VARCHAR NOT NULL,
    run_id VARCHAR NOT NULL,
    station_no INTEGER NOT NULL,
    unit_key INTEGER NOT NULL
);

-- Each text of station_mode, stop_reason, sensor_id and calibration_id once.
CREATE TABLE texts (
    text_key INTEGER PRIMARY KEY,
    text VARCHAR NOT NULL UNIQUE
);

CREATE TABLE uploads (
    upload_key INTEGER PRIMARY KEY,
    upload_id VARCHAR NOT NULL UNIQUE,
    sha256 VARCHAR NOT NULL UNIQUE,
    table_kind VARCHAR NOT NULL,
    received_at TIMESTAMPTZ NOT NULL,
    received_from VARCHAR NOT NULL,
    byte_count BIGINT NOT NULL,
    row_count BIGINT NOT NULL,
    column_mask BIGINT NOT NULL,
    source_zone VARCHAR,
    receipt VARCHAR NOT NULL
);

CREATE TABLE upload_stretches (
    upload_key INTEGER NOT NULL,
    stretch_key INTEGER NOT NULL,
    stored_rows BIGINT NOT NULL,
    duplicate_rows BIGINT NOT NULL,
    conflicting_rows BIGINT NOT NULL,
    first_cycle_in_run BIGINT NOT NULL,
    last_cycle_in_run BIGINT NOT NULL,
    first_started_at TIMESTAMP NOT NULL,
    last_started_at TIMESTAMP NOT NULL
);

-- One logged cycle. Instants are UTC. A number is NULL where the upload has no such
-- column and NaN where the column is there but the cell was not recorded; a key, an
-- odometer or a thinning is NULL where it was not given. No index: a lookup by stretch
-- is answered from the ranges that the storage keeps of every block of rows.
CREATE TABLE cycle_rows (
    stretch_key INTEGER NOT NULL,
    upload_key INTEGER NOT NULL,
    cycle_in_run BIGINT NOT NULL,
    started_at TIMESTAMP NOT NULL,
    pressure_peak_mpa DOUBLE NOT NULL,
    pressure_dwell_start_mpa DOUBLE,
    pressure_dwell_end_mpa DOUBLE,
    pressure_set_mpa DOUBLE,
    pressure_low_mpa DOUBLE,
    pressure_supply_mpa DOUBLE,
    rise_time_s DOUBLE,
    dwell_time_s DOUBLE,
    rest_time_s DOUBLE,
    fluid_temperature_c DOUBLE,
    unit_temperature_c DOUBLE,
    station_mode_key INTEGER,
    stop_reason_key INTEGER,
    sensor_key INTEGER,
    calibration_key INTEGER,
    station_cycle_total BIGINT,
    logged_every INTEGER
);

-- Rows with the identity of an earlier one but other values; the earlier one counts.
CREATE TABLE conflicting_rows (
    stretch_key INTEGER NOT NULL,
    upload_key INTEGER NOT NULL,
    cycle_in_run BIGINT NOT NULL,
    started_at TIMESTAMP NOT NULL,
    pressure_peak_mpa DOUBLE NOT NULL,
    pressure_dwell_start_mpa DOUBLE,
    pressure_dwell_end_mpa DOUBLE,
    pressure_set_mpa DOUBLE,
    pressure_low_mpa DOUBLE,
    pressure_supply_mpa DOUBLE,
    rise_time_s DOUBLE,
    dwell_time_s DOUBLE,
    rest_time_s DOUBLE,
    fluid_temperature_c DOUBLE,
    unit_temperature_c DOUBLE,
    station_mode_key INTEGER,
    stop_reason_key INTEGER,
    sensor_key INTEGER,
    calibration_key INTEGER,
    station_cycle_total BIGINT,
    logged_every INTEGER
);

-- Every life that was uploaded, the second one of a unit included unless it is equal.
CREATE TABLE uploaded_lives (
    upload_key INTEGER NOT NULL,
    unit_key INTEGER NOT NULL,
    ending VARCHAR NOT NULL,
    cycles BIGINT,
    cycles_low BIGINT,
    cycles_high BIGINT,
    failure_mode VARCHAR,
    component_batch VARCHAR
);
