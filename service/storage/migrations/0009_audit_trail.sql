-- One link for every fact, in the order in which they were stored. `link` hashes the link
-- before it, so that nothing can be changed, left out or put in between unnoticed.

CREATE TABLE audit_links (
    position BIGINT NOT NULL,
    fact_kind VARCHAR NOT NULL,
    fact_no BIGINT NOT NULL,
    fact_sha256 VARCHAR NOT NULL,
    link VARCHAR NOT NULL,
    PRIMARY KEY (position)
);
