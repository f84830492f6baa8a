-- Living with findings: what people said of them, and changes of the work that start a new reference. That people,
-- gauges and case types named here are in the log is held by the services and by sql/checks/.

-- One row per thing said of a finding; the latest of each finding counts. `told` is what the finding said at the time.
CREATE TABLE finding_note (
    id UUID PRIMARY KEY,
    finding VARCHAR NOT NULL CHECK (length(finding) BETWEEN 1 AND 500),
    state VARCHAR NOT NULL CHECK (state IN ('open', 'looked into', 'explained', 'closed', 'rejected')),
    found VARCHAR CHECK (length(found) BETWEEN 1 AND 1000),
    done VARCHAR CHECK (length(done) BETWEEN 1 AND 1000),
    told VARCHAR,
    person VARCHAR NOT NULL CHECK (length(person) BETWEEN 1 AND 200),
    noted_at TIMESTAMP NOT NULL,
    entry BIGINT NOT NULL REFERENCES entry (entry),
    CHECK (state NOT IN ('explained', 'closed', 'rejected') OR found IS NOT NULL),
    CHECK (state <> 'closed' OR done IS NOT NULL)
);

-- One row per change of the work: of a case type (one characteristic, or empty: all of them), or of a gauge or the like.
CREATE TABLE change (
    id UUID PRIMARY KEY,
    kind VARCHAR NOT NULL CHECK (kind IN ('new setup', 'gauge re-set', 'supplier change', 'other')),
    case_type VARCHAR,
    characteristic VARCHAR,
    identifier VARCHAR CHECK (identifier IN ('machining_batch', 'lot', 'gauge', 'technician')),
    level VARCHAR CHECK (length(level) BETWEEN 1 AND 200),
    since TIMESTAMP NOT NULL,
    note VARCHAR CHECK (length(note) BETWEEN 1 AND 1000),
    person VARCHAR NOT NULL CHECK (length(person) BETWEEN 1 AND 200),
    entry BIGINT NOT NULL REFERENCES entry (entry),
    CHECK ((case_type IS NULL) <> (identifier IS NULL)),
    CHECK ((identifier IS NULL) = (level IS NULL)),
    CHECK (characteristic IS NULL OR case_type IS NOT NULL)
);
