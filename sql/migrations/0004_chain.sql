-- A record that shows tampering: each entry's digest follows from the one before. Only ever added to.

-- One row per entry, and one (entry 0) for the settings the log began with. `parts`: one line for each table the entry
-- added to, with the number of rows and their digest. `digest`: SHA-256 of the digest before, the entry's number, `how`
-- and `parts`. `how`: worked out as it was entered, or later from what was found in a log of an older qclog.
CREATE TABLE entry_digest (
    entry BIGINT PRIMARY KEY CHECK (entry >= 0),
    how VARCHAR NOT NULL CHECK (how IN ('entered', 'as found')),
    parts VARCHAR NOT NULL,
    digest VARCHAR NOT NULL CHECK (length(digest) = 64)
);
