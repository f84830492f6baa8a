-- The log. Rows are only ever added. Every row names the entry that brought it in: one entry for each
-- transaction, saying who did it, when, by what way, so order never rests on a clock.

CREATE TABLE setting (
    name VARCHAR PRIMARY KEY CHECK (length(name) BETWEEN 1 AND 60),
    value VARCHAR NOT NULL
);

-- One row per transaction.
CREATE TABLE entry (
    entry BIGINT PRIMARY KEY CHECK (entry > 0),
    submission UUID NOT NULL UNIQUE,
    entered_at TIMESTAMP NOT NULL,
    entered_by VARCHAR NOT NULL CHECK (length(entered_by) BETWEEN 1 AND 200),
    via VARCHAR NOT NULL CHECK (via IN ('bench', 'terminal', 'import', 'demo')),
    what VARCHAR NOT NULL
);

-- One row per person.
CREATE TABLE person (
    person VARCHAR PRIMARY KEY CHECK (length(person) BETWEEN 1 AND 200),
    role VARCHAR NOT NULL CHECK (role IN ('technician', 'inspector', 'manager', 'warranty', 'stores')),
    entry BIGINT NOT NULL REFERENCES entry (entry)
);

-- One row per gauge. Leaves of a feeler are separated by spaces, in its unit.
CREATE TABLE gauge (
    gauge VARCHAR PRIMARY KEY CHECK (length(gauge) BETWEEN 1 AND 200),
    kind VARCHAR NOT NULL CHECK (kind IN ('feeler', 'dial', 'depth_mic', 'micrometer', 'bore', 'torque', 'balance', 'other')),
    unit VARCHAR NOT NULL,
    step DOUBLE NOT NULL CHECK (step > 0 AND step < 1e300),
    leaves VARCHAR,
    calibration_due DATE,
    entry BIGINT NOT NULL REFERENCES entry (entry)
);

-- One row per event in a gauge's life.
CREATE TABLE gauge_check (
    id UUID PRIMARY KEY,
    gauge VARCHAR NOT NULL REFERENCES gauge (gauge),
    checked_at TIMESTAMP NOT NULL,
    event VARCHAR NOT NULL CHECK (event IN ('check', 'dropped', 'withdrawn', 'returned', 'calibrated')),
    reference DOUBLE CHECK (reference BETWEEN -1e300 AND 1e300),
    reading DOUBLE CHECK (reading BETWEEN -1e300 AND 1e300),
    unit VARCHAR,
    person VARCHAR,
    note VARCHAR,
    entry BIGINT NOT NULL REFERENCES entry (entry)
);

-- One row per version of a sheet. `since` (UTC): in force from then; empty: from the beginning.
CREATE TABLE sheet (
    case_type VARCHAR NOT NULL CHECK (length(case_type) BETWEEN 1 AND 60),
    version VARCHAR NOT NULL CHECK (length(version) BETWEEN 1 AND 60),
    since TIMESTAMP,
    text VARCHAR NOT NULL,
    entry BIGINT NOT NULL REFERENCES entry (entry),
    PRIMARY KEY (case_type, version)
);

-- One row per job: what is known when it is opened. Everything that may come later is a job_detail.
CREATE TABLE job (
    job VARCHAR PRIMARY KEY CHECK (length(job) BETWEEN 1 AND 200),
    case_type VARCHAR NOT NULL,
    opened TIMESTAMP NOT NULL,
    entry BIGINT NOT NULL REFERENCES entry (entry)
);

-- One row per thing said of a job, once in an entry; the latest of each name counts; '' takes it back.
CREATE TABLE job_detail (
    id UUID PRIMARY KEY,
    job VARCHAR NOT NULL REFERENCES job (job),
    name VARCHAR NOT NULL CHECK (name IN ('case_serial', 'casting', 'rebuild', 'machining_batch', 'variant',
        'dispatched', 'customer_ref', 'outstanding', 'concession')),
    value VARCHAR NOT NULL,
    reason VARCHAR,
    entry BIGINT NOT NULL REFERENCES entry (entry),
    UNIQUE (job, name, entry)
);

-- One row per part fitted.
CREATE TABLE part (
    id UUID PRIMARY KEY,
    job VARCHAR NOT NULL REFERENCES job (job),
    part VARCHAR NOT NULL CHECK (length(part) BETWEEN 1 AND 200),
    lot VARCHAR,
    supplier VARCHAR,
    condition VARCHAR CHECK (condition IN ('new', 'reused', 'reclaimed')),
    sub_assembly VARCHAR REFERENCES job (job),
    entry BIGINT NOT NULL REFERENCES entry (entry)
);

-- One row per reading or correction. `low` and `high` are in the characteristic's unit at the time: equal for a
-- point, apart for a feeler bracket, one empty when a leaf set ends there, both empty for a word or when none was
-- taken. `replaces` is the attempt that a correction replaces, at the
-- same place. Job, gauge, technician and entry are held by the services, under the
-- lock, and by sql/checks/ rather than here: four foreign keys made a million readings 60 % slower to import.
CREATE TABLE reading (
    id UUID PRIMARY KEY,
    job VARCHAR NOT NULL,
    characteristic VARCHAR NOT NULL CHECK (length(characteristic) BETWEEN 1 AND 60),
    stage VARCHAR NOT NULL CHECK (stage IN ('as_found', 'trial', 'final', 'return')),
    position VARCHAR NOT NULL,
    attempt INTEGER NOT NULL CHECK (attempt BETWEEN 1 AND 100000),
    said VARCHAR NOT NULL CHECK (length(said) BETWEEN 1 AND 400),
    said_unit VARCHAR,
    kind VARCHAR NOT NULL CHECK (kind IN ('point', 'bracket', 'below', 'above', 'none', 'word')),
    low DOUBLE CHECK (low BETWEEN -1e300 AND 1e300),
    high DOUBLE CHECK (high BETWEEN -1e300 AND 1e300),
    unit VARCHAR NOT NULL,
    word VARCHAR,
    gauge VARCHAR,
    technician VARCHAR NOT NULL,
    taken_at TIMESTAMP NOT NULL,
    conditions VARCHAR,
    note VARCHAR,
    replaces INTEGER,
    reason VARCHAR,
    entry BIGINT NOT NULL,
    UNIQUE (job, characteristic, stage, position, attempt),
    CHECK (low IS NULL OR high IS NULL OR low <= high),
    CHECK ((kind = 'point') = (low IS NOT NULL AND high IS NOT NULL AND low = high)),
    CHECK (replaces IS NULL OR (replaces < attempt AND reason IS NOT NULL))
);

-- One row per strike-out: the reading stays, and no longer counts.
CREATE TABLE strike (
    id UUID PRIMARY KEY,
    reading UUID NOT NULL REFERENCES reading (id),
    person VARCHAR NOT NULL REFERENCES person (person),
    reason VARCHAR NOT NULL CHECK (length(reason) BETWEEN 1 AND 1000),
    entry BIGINT NOT NULL REFERENCES entry (entry)
);

-- One row per comeback of a job.
CREATE TABLE comeback (
    id UUID PRIMARY KEY,
    job VARCHAR NOT NULL REFERENCES job (job),
    returned TIMESTAMP NOT NULL,
    complaint VARCHAR,
    finding VARCHAR,
    attributable VARCHAR CHECK (attributable IN ('yes', 'no', 'open')),
    hours DOUBLE CHECK (hours BETWEEN 0 AND 1e9),
    entry BIGINT NOT NULL REFERENCES entry (entry)
);
