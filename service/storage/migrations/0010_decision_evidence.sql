-- What a recorded verdict rested on, as it was when it was recorded. Never edited.

CREATE TABLE decision_evidence (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    decision_id VARCHAR NOT NULL,
    body VARCHAR NOT NULL,
    recorded_at TIMESTAMPTZ NOT NULL,
    recorded_by VARCHAR NOT NULL,
    PRIMARY KEY (decision_id)
);
