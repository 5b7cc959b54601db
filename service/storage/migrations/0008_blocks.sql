-- Derived: blocks of counted cycles of a stretch under one set of rules, as JSON. A row of it is
-- never updated in place; losing the table costs time and no answer.
CREATE TABLE stretch_blocks (
    stretch_key INTEGER NOT NULL,
    rows_key VARCHAR NOT NULL,
    rules_key VARCHAR NOT NULL,
    body VARCHAR NOT NULL,
    PRIMARY KEY (stretch_key, rows_key, rules_key)
);
