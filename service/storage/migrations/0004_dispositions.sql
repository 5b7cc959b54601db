-- Signed answers to holds. Append-only: the newest of a hold counts, all of them stay.

CREATE TABLE dispositions (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    disposition_id VARCHAR NOT NULL,
    hold_id VARCHAR NOT NULL,
    lot_key INTEGER NOT NULL,
    body VARCHAR NOT NULL,
    signed_at TIMESTAMPTZ NOT NULL,
    signed_by VARCHAR NOT NULL,
    PRIMARY KEY (entry_no),
    UNIQUE (disposition_id)
);
