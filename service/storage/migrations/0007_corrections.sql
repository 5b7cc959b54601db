-- Withdrawals of uploads and corrections of serials and lots. Rows are never deleted and never
-- rewritten: what such a change touches is taken anew from the kept originals under new keys, and
-- the old keys are retired. Whoever reads `stretch_bases`, `upload_stretches` or `uploaded_lives`
-- sees what stands now; what was ever taken is in `taken_stretches`, `taken_tallies`, `taken_lives`.

CREATE TABLE withdrawals (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    upload_key INTEGER NOT NULL,
    change_id VARCHAR NOT NULL,
    body VARCHAR NOT NULL,
    withdrawn_at TIMESTAMPTZ NOT NULL,
    withdrawn_by VARCHAR NOT NULL,
    PRIMARY KEY (upload_key)
);

-- A correction names a unit as the files wrote it; without a serial it names a whole lot.
CREATE TABLE corrections (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    correction_key VARCHAR NOT NULL,
    change_id VARCHAR NOT NULL,
    written_lot_number VARCHAR NOT NULL,
    written_unit_serial VARCHAR,
    body VARCHAR NOT NULL,
    recorded_at TIMESTAMPTZ NOT NULL,
    recorded_by VARCHAR NOT NULL,
    PRIMARY KEY (correction_key)
);

-- Lots whose rows or lives a withdrawal or a correction touched, and the ids of their units that
-- it speaks of, as JSON.
CREATE TABLE lot_changes (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    lot_key INTEGER NOT NULL,
    change_id VARCHAR NOT NULL,
    unit_ids VARCHAR NOT NULL,
    PRIMARY KEY (lot_key, change_id)
);

-- Inspections and rig events that name a unit belong to another: the newest of a unit holds.
CREATE TABLE unit_moves (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    from_unit_key INTEGER NOT NULL,
    to_unit_key INTEGER NOT NULL,
    change_id VARCHAR NOT NULL,
    PRIMARY KEY (entry_no)
);

-- What a change did to lots and units, as it was told when it was signed.
CREATE TABLE change_effects (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    change_id VARCHAR NOT NULL,
    body VARCHAR NOT NULL,
    PRIMARY KEY (change_id)
);

CREATE TABLE retired_stretches (
    stretch_key INTEGER NOT NULL,
    change_id VARCHAR NOT NULL,
    PRIMARY KEY (stretch_key)
);

-- `take_no` tells the lives of a unit that came from one upload apart: 0 as it arrived.
CREATE TABLE retired_lives (
    upload_key INTEGER NOT NULL,
    unit_key INTEGER NOT NULL,
    take_no BIGINT NOT NULL,
    change_id VARCHAR NOT NULL,
    PRIMARY KEY (upload_key, unit_key, take_no)
);

-- A sample that was drawn from a lot: the population as it was told, and who came out of it.
CREATE TABLE sample_draws (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    lot_key INTEGER NOT NULL,
    draw_key VARCHAR NOT NULL,
    request VARCHAR NOT NULL,
    body VARCHAR NOT NULL,
    recorded_at TIMESTAMPTZ NOT NULL,
    recorded_by VARCHAR NOT NULL,
    PRIMARY KEY (lot_key, draw_key)
);

-- A void unit and the spare that was put in its place; the void unit keeps its own.
CREATE TABLE sample_substitutions (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    lot_key INTEGER NOT NULL,
    draw_key VARCHAR NOT NULL,
    void_serial VARCHAR NOT NULL,
    spare_serial VARCHAR NOT NULL,
    body VARCHAR NOT NULL,
    recorded_at TIMESTAMPTZ NOT NULL,
    recorded_by VARCHAR NOT NULL,
    PRIMARY KEY (lot_key, void_serial)
);

ALTER TABLE stretch_bases RENAME TO taken_stretches;

ALTER TABLE upload_stretches RENAME TO taken_tallies;

ALTER TABLE uploaded_lives RENAME TO taken_lives;

ALTER TABLE taken_lives ADD COLUMN take_no BIGINT DEFAULT 0;

CREATE VIEW stretch_bases AS
SELECT t.stretch_key, t.rig_id, t.run_id, t.station_no, t.unit_key
FROM taken_stretches AS t
ANTI JOIN retired_stretches AS r ON r.stretch_key = t.stretch_key;

CREATE VIEW upload_stretches AS
SELECT
    t.upload_key, t.stretch_key, t.stored_rows, t.duplicate_rows, t.conflicting_rows,
    t.first_cycle_in_run, t.last_cycle_in_run, t.first_started_at, t.last_started_at
FROM taken_tallies AS t
ANTI JOIN retired_stretches AS r ON r.stretch_key = t.stretch_key;

CREATE VIEW uploaded_lives AS
SELECT
    t.upload_key, t.unit_key, t.ending, t.cycles, t.cycles_low, t.cycles_high, t.failure_mode,
    t.component_batch
FROM taken_lives AS t
ANTI JOIN retired_lives AS r
    ON r.upload_key = t.upload_key AND r.unit_key = t.unit_key AND r.take_no = t.take_no;
