-- Facts that people and systems report. Rows are only ever added: no statement of the
-- service updates or deletes one. `entry_no` is the order in which they were recorded.
-- Bodies are JSON as the schemas package writes it.

CREATE SEQUENCE fact_numbers;

CREATE TABLE lot_registrations (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    lot_key INTEGER NOT NULL,
    part_number VARCHAR NOT NULL,
    body VARCHAR NOT NULL,
    recorded_at TIMESTAMPTZ NOT NULL,
    recorded_by VARCHAR NOT NULL,
    PRIMARY KEY (lot_key)
);

CREATE TABLE sample_units (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    unit_key INTEGER NOT NULL,
    component_batch VARCHAR,
    recorded_at TIMESTAMPTZ NOT NULL,
    recorded_by VARCHAR NOT NULL,
    PRIMARY KEY (unit_key)
);

-- What happened to a version of a specification. DRAFTED and REPLACED carry the whole
-- specification as canonical JSON and its hash; APPROVED carries meaning and reason.
CREATE TABLE spec_events (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    spec_id VARCHAR NOT NULL,
    version INTEGER NOT NULL,
    kind VARCHAR NOT NULL CHECK (kind IN ('DRAFTED', 'REPLACED', 'APPROVED', 'DELETED')),
    body VARCHAR,
    hash VARCHAR,
    meaning VARCHAR,
    reason VARCHAR,
    recorded_at TIMESTAMPTZ NOT NULL,
    recorded_by VARCHAR NOT NULL,
    PRIMARY KEY (entry_no)
);

-- Each version as it stands. The approved version of a specification is the one that was
-- approved last; those approved before it are superseded.
CREATE VIEW spec_versions AS
WITH versions AS (
    SELECT
        spec_id,
        version,
        arg_max(body, entry_no) FILTER (kind IN ('DRAFTED', 'REPLACED')) AS body,
        arg_max(hash, entry_no) FILTER (kind IN ('DRAFTED', 'REPLACED')) AS hash,
        arg_min(recorded_at, entry_no) AS created_at,
        arg_min(recorded_by, entry_no) AS created_by,
        max(entry_no) FILTER (kind = 'APPROVED') AS approved_no,
        arg_max(recorded_at, entry_no) FILTER (kind = 'APPROVED') AS approved_at,
        arg_max(recorded_by, entry_no) FILTER (kind = 'APPROVED') AS approved_by,
        arg_max(meaning, entry_no) FILTER (kind = 'APPROVED') AS approval_meaning,
        arg_max(reason, entry_no) FILTER (kind = 'APPROVED') AS approval_reason,
        bool_or(kind = 'DELETED') AS is_deleted
    FROM spec_events
    GROUP BY spec_id, version
)
SELECT
    spec_id,
    version,
    CASE
        WHEN approved_no IS NULL THEN 'DRAFT'
        WHEN approved_no = max(approved_no) OVER (PARTITION BY spec_id) THEN 'APPROVED'
        ELSE 'SUPERSEDED'
    END AS state,
    body,
    hash,
    created_at,
    created_by,
    approved_at,
    approved_by,
    approval_meaning,
    approval_reason
FROM versions
WHERE NOT is_deleted;

CREATE TABLE assignments (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    lot_key INTEGER NOT NULL,
    spec_id VARCHAR NOT NULL,
    version INTEGER NOT NULL,
    hash VARCHAR NOT NULL,
    reason VARCHAR NOT NULL,
    assigned_at TIMESTAMPTZ NOT NULL,
    assigned_by VARCHAR NOT NULL,
    PRIMARY KEY (entry_no)
);

CREATE TABLE rig_settings (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    rig_id VARCHAR NOT NULL,
    body VARCHAR NOT NULL,
    recorded_at TIMESTAMPTZ NOT NULL,
    recorded_by VARCHAR NOT NULL,
    PRIMARY KEY (entry_no)
);

CREATE TABLE rig_events (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    rig_id VARCHAR NOT NULL,
    event_key VARCHAR NOT NULL,
    unit_key INTEGER,
    body VARCHAR NOT NULL,
    recorded_at TIMESTAMPTZ NOT NULL,
    recorded_by VARCHAR NOT NULL,
    PRIMARY KEY (rig_id, event_key)
);

CREATE TABLE inspections (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    inspection_key VARCHAR NOT NULL,
    unit_key INTEGER NOT NULL,
    body VARCHAR NOT NULL,
    recorded_at TIMESTAMPTZ NOT NULL,
    recorded_by VARCHAR NOT NULL,
    PRIMARY KEY (inspection_key)
);

CREATE TABLE decisions (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    decision_id VARCHAR NOT NULL,
    lot_key INTEGER NOT NULL,
    evaluation_key VARCHAR NOT NULL,
    body VARCHAR NOT NULL,
    decided_at TIMESTAMPTZ NOT NULL,
    decided_by VARCHAR NOT NULL,
    PRIMARY KEY (decision_id),
    UNIQUE (lot_key, evaluation_key)
);
