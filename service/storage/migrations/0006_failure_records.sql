-- What examinations found about failed units, who signed for it, and the files they name.
-- Append-only: the newest record of a unit supersedes the ones before it, all of them stay.

CREATE TABLE failure_records (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    record_key VARCHAR NOT NULL,
    record_id VARCHAR NOT NULL,
    unit_key INTEGER NOT NULL,
    body VARCHAR NOT NULL,
    recorded_at TIMESTAMPTZ NOT NULL,
    recorded_by VARCHAR NOT NULL,
    PRIMARY KEY (record_key),
    UNIQUE (record_id)
);

-- `failure_id` names the failure that the signer saw; the signature is for no other.
CREATE TABLE failure_record_signatures (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    signature_id VARCHAR NOT NULL,
    record_id VARCHAR NOT NULL,
    failure_id VARCHAR NOT NULL,
    body VARCHAR NOT NULL,
    signed_at TIMESTAMPTZ NOT NULL,
    signed_by VARCHAR NOT NULL,
    PRIMARY KEY (entry_no),
    UNIQUE (signature_id)
);

-- The bytes lie in the folder of attachments, under their digest.
CREATE TABLE attachments (
    entry_no BIGINT NOT NULL DEFAULT nextval('fact_numbers'),
    sha256 VARCHAR NOT NULL,
    attachment_id VARCHAR NOT NULL,
    media_type VARCHAR NOT NULL,
    byte_count BIGINT NOT NULL,
    stored_at TIMESTAMPTZ NOT NULL,
    stored_by VARCHAR NOT NULL,
    PRIMARY KEY (sha256),
    UNIQUE (attachment_id)
);
