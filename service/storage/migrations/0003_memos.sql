-- Answers kept under the hash of everything they were computed from. Nothing here is a fact:
-- a missing row is computed again, and deleting all of them changes no answer.

CREATE TABLE stretch_summaries (
    stretch_key INTEGER NOT NULL,
    rows_key VARCHAR NOT NULL,
    rules_key VARCHAR NOT NULL,
    body VARCHAR NOT NULL,
    PRIMARY KEY (stretch_key, rows_key, rules_key)
);

CREATE TABLE lot_lives (
    lot_key INTEGER NOT NULL,
    lives_key VARCHAR NOT NULL,
    body VARCHAR NOT NULL,
    PRIMARY KEY (lot_key, lives_key)
);

CREATE TABLE lot_evaluations (
    lot_key INTEGER NOT NULL,
    evaluation_key VARCHAR NOT NULL,
    body VARCHAR NOT NULL,
    PRIMARY KEY (lot_key, evaluation_key)
);
