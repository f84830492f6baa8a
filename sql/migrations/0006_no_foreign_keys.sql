-- Foreign keys leave the file: DuckDB writes their entries into the catalogue again at every checkpoint, so each stored
-- reading made every later opening slower, for good. The services check under the lock, and sql/checks/ look again.
-- Tables that had one, or were pointed at by one, are made again with all else as it was.

CREATE TABLE entry_without (
    entry BIGINT PRIMARY KEY CHECK (entry > 0),
    submission UUID NOT NULL UNIQUE,
    entered_at TIMESTAMP NOT NULL,
    entered_by VARCHAR NOT NULL CHECK (length(entered_by) BETWEEN 1 AND 200),
    via VARCHAR NOT NULL CHECK (via IN ('bench', 'terminal', 'import', 'demo')),
    what VARCHAR NOT NULL
);

CREATE TABLE person_without (
    person VARCHAR PRIMARY KEY CHECK (length(person) BETWEEN 1 AND 200),
    role VARCHAR NOT NULL CHECK (role IN ('technician', 'inspector', 'manager', 'warranty', 'stores')),
    entry BIGINT NOT NULL
);

CREATE TABLE gauge_without (
    gauge VARCHAR PRIMARY KEY CHECK (length(gauge) BETWEEN 1 AND 200),
    kind VARCHAR NOT NULL CHECK (kind IN ('feeler', 'dial', 'depth_mic', 'micrometer', 'bore', 'torque', 'balance', 'other')),
    unit VARCHAR NOT NULL,
    step DOUBLE NOT NULL CHECK (step > 0 AND step < 1e300),
    leaves VARCHAR,
    calibration_due DATE,
    entry BIGINT NOT NULL
);

CREATE TABLE gauge_check_without (
    id UUID PRIMARY KEY,
    gauge VARCHAR NOT NULL,
    checked_at TIMESTAMP NOT NULL,
    event VARCHAR NOT NULL CHECK (event IN ('check', 'dropped', 'withdrawn', 'returned', 'calibrated')),
    reference DOUBLE CHECK (reference BETWEEN -1e300 AND 1e300),
    reading DOUBLE CHECK (reading BETWEEN -1e300 AND 1e300),
    unit VARCHAR,
    person VARCHAR,
    note VARCHAR,
    entry BIGINT NOT NULL
);

CREATE TABLE sheet_without (
    case_type VARCHAR NOT NULL CHECK (length(case_type) BETWEEN 1 AND 60),
    version VARCHAR NOT NULL CHECK (length(version) BETWEEN 1 AND 60),
    since TIMESTAMP,
    text VARCHAR NOT NULL,
    entry BIGINT NOT NULL,
    PRIMARY KEY (case_type, version)
);

CREATE TABLE job_without (
    job VARCHAR PRIMARY KEY CHECK (length(job) BETWEEN 1 AND 200),
    case_type VARCHAR NOT NULL,
    opened TIMESTAMP NOT NULL,
    entry BIGINT NOT NULL
);

CREATE TABLE job_detail_without (
    id UUID PRIMARY KEY,
    job VARCHAR NOT NULL,
    name VARCHAR NOT NULL CHECK (name IN ('case_serial', 'casting', 'rebuild', 'machining_batch', 'variant',
        'dispatched', 'customer_ref', 'outstanding', 'concession')),
    value VARCHAR NOT NULL,
    reason VARCHAR,
    entry BIGINT NOT NULL,
    UNIQUE (job, name, entry)
);

CREATE TABLE part_without (
    id UUID PRIMARY KEY,
    job VARCHAR NOT NULL,
    part VARCHAR NOT NULL CHECK (length(part) BETWEEN 1 AND 200),
    lot VARCHAR,
    supplier VARCHAR,
    condition VARCHAR CHECK (condition IN ('new', 'reused', 'reclaimed')),
    sub_assembly VARCHAR,
    entry BIGINT NOT NULL
);

CREATE TABLE reading_without (
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

CREATE TABLE strike_without (
    id UUID PRIMARY KEY,
    reading UUID NOT NULL,
    person VARCHAR NOT NULL,
    reason VARCHAR NOT NULL CHECK (length(reason) BETWEEN 1 AND 1000),
    entry BIGINT NOT NULL
);

CREATE TABLE comeback_without (
    id UUID PRIMARY KEY,
    job VARCHAR NOT NULL,
    returned TIMESTAMP NOT NULL,
    complaint VARCHAR,
    finding VARCHAR,
    attributable VARCHAR CHECK (attributable IN ('yes', 'no', 'open')),
    hours DOUBLE CHECK (hours BETWEEN 0 AND 1e9),
    entry BIGINT NOT NULL
);

CREATE TABLE shim_size_without (
    stock_set VARCHAR NOT NULL CHECK (length(stock_set) BETWEEN 1 AND 60),
    nominal DOUBLE NOT NULL CHECK (nominal > 0 AND nominal < 1e300),
    measured DOUBLE NOT NULL CHECK (measured > 0 AND measured < 1e300),
    unit VARCHAR NOT NULL,
    layer DOUBLE CHECK (layer > 0 AND layer <= measured),
    entry BIGINT NOT NULL,
    PRIMARY KEY (stock_set, nominal, measured)
);

CREATE TABLE shim_minimum_without (
    id UUID PRIMARY KEY,
    stock_set VARCHAR NOT NULL CHECK (length(stock_set) BETWEEN 1 AND 60),
    nominal DOUBLE NOT NULL CHECK (nominal > 0 AND nominal < 1e300),
    minimum INTEGER NOT NULL CHECK (minimum BETWEEN 0 AND 1000000),
    entry BIGINT NOT NULL
);

CREATE TABLE shim_movement_without (
    id UUID PRIMARY KEY,
    stock_set VARCHAR NOT NULL,
    nominal DOUBLE NOT NULL,
    measured DOUBLE NOT NULL,
    moved_at TIMESTAMP NOT NULL,
    change INTEGER NOT NULL CHECK (change <> 0 AND change BETWEEN -1000000 AND 1000000),
    why VARCHAR NOT NULL CHECK (why IN ('bought', 'counted', 'taken', 'returned', 'scrapped')),
    job VARCHAR,
    person VARCHAR,
    note VARCHAR,
    entry BIGINT NOT NULL,
    CHECK (why NOT IN ('taken', 'returned') OR job IS NOT NULL),
    CHECK ((why IN ('bought', 'returned') AND change > 0) OR (why IN ('taken', 'scrapped') AND change < 0) OR why = 'counted')
);

CREATE TABLE finding_note_without (
    id UUID PRIMARY KEY,
    finding VARCHAR NOT NULL CHECK (length(finding) BETWEEN 1 AND 500),
    state VARCHAR NOT NULL CHECK (state IN ('open', 'looked into', 'explained', 'closed', 'rejected')),
    found VARCHAR CHECK (length(found) BETWEEN 1 AND 1000),
    done VARCHAR CHECK (length(done) BETWEEN 1 AND 1000),
    told VARCHAR,
    person VARCHAR NOT NULL CHECK (length(person) BETWEEN 1 AND 200),
    noted_at TIMESTAMP NOT NULL,
    entry BIGINT NOT NULL,
    CHECK (state NOT IN ('explained', 'closed', 'rejected') OR found IS NOT NULL),
    CHECK (state <> 'closed' OR done IS NOT NULL)
);

CREATE TABLE change_without (
    id UUID PRIMARY KEY,
    kind VARCHAR NOT NULL CHECK (kind IN ('new setup', 'gauge re-set', 'supplier change', 'other')),
    case_type VARCHAR,
    characteristic VARCHAR,
    identifier VARCHAR CHECK (identifier IN ('machining_batch', 'lot', 'gauge', 'technician')),
    level VARCHAR CHECK (length(level) BETWEEN 1 AND 200),
    since TIMESTAMP NOT NULL,
    note VARCHAR CHECK (length(note) BETWEEN 1 AND 1000),
    person VARCHAR NOT NULL CHECK (length(person) BETWEEN 1 AND 200),
    entry BIGINT NOT NULL,
    CHECK ((case_type IS NULL) <> (identifier IS NULL)),
    CHECK ((identifier IS NULL) = (level IS NULL)),
    CHECK (characteristic IS NULL OR case_type IS NOT NULL)
);

CREATE TABLE person_detail_without (
    id UUID PRIMARY KEY,
    person VARCHAR NOT NULL,
    name VARCHAR NOT NULL CHECK (name IN ('role', 'left', 'pin')),
    value VARCHAR NOT NULL CHECK (length(value) <= 500),
    entry BIGINT NOT NULL,
    UNIQUE (person, name, entry),
    CHECK (name <> 'role' OR value IN ('technician', 'inspector', 'manager', 'warranty', 'stores')),
    CHECK (name <> 'left' OR value IN ('yes', '')),
    CHECK (name <> 'pin' OR value = '' OR value LIKE '$argon2id$%')
);

CREATE TABLE sign_on_without (
    id UUID PRIMARY KEY,
    person VARCHAR NOT NULL,
    tried_at TIMESTAMP NOT NULL,
    good BOOLEAN NOT NULL,
    entry BIGINT NOT NULL
);

INSERT INTO entry_without SELECT * FROM entry;
INSERT INTO person_without SELECT * FROM person;
INSERT INTO gauge_without SELECT * FROM gauge;
INSERT INTO gauge_check_without SELECT * FROM gauge_check;
INSERT INTO sheet_without SELECT * FROM sheet;
INSERT INTO job_without SELECT * FROM job;
INSERT INTO job_detail_without SELECT * FROM job_detail;
INSERT INTO part_without SELECT * FROM part;
INSERT INTO reading_without SELECT * FROM reading;
INSERT INTO strike_without SELECT * FROM strike;
INSERT INTO comeback_without SELECT * FROM comeback;
INSERT INTO shim_size_without SELECT * FROM shim_size;
INSERT INTO shim_minimum_without SELECT * FROM shim_minimum;
INSERT INTO shim_movement_without SELECT * FROM shim_movement;
INSERT INTO finding_note_without SELECT * FROM finding_note;
INSERT INTO change_without SELECT * FROM change;
INSERT INTO person_detail_without SELECT * FROM person_detail;
INSERT INTO sign_on_without SELECT * FROM sign_on;

DROP TABLE sign_on;
DROP TABLE person_detail;
DROP TABLE change;
DROP TABLE finding_note;
DROP TABLE shim_movement;
DROP TABLE shim_minimum;
DROP TABLE shim_size;
DROP TABLE comeback;
DROP TABLE strike;
DROP TABLE reading;
DROP TABLE part;
DROP TABLE job_detail;
DROP TABLE job;
DROP TABLE sheet;
DROP TABLE gauge_check;
DROP TABLE gauge;
DROP TABLE person;
DROP TABLE entry;

ALTER TABLE entry_without RENAME TO entry;
ALTER TABLE person_without RENAME TO person;
ALTER TABLE gauge_without RENAME TO gauge;
ALTER TABLE gauge_check_without RENAME TO gauge_check;
ALTER TABLE sheet_without RENAME TO sheet;
ALTER TABLE job_without RENAME TO job;
ALTER TABLE job_detail_without RENAME TO job_detail;
ALTER TABLE part_without RENAME TO part;
ALTER TABLE reading_without RENAME TO reading;
ALTER TABLE strike_without RENAME TO strike;
ALTER TABLE comeback_without RENAME TO comeback;
ALTER TABLE shim_size_without RENAME TO shim_size;
ALTER TABLE shim_minimum_without RENAME TO shim_minimum;
ALTER TABLE shim_movement_without RENAME TO shim_movement;
ALTER TABLE finding_note_without RENAME TO finding_note;
ALTER TABLE change_without RENAME TO change;
ALTER TABLE person_detail_without RENAME TO person_detail;
ALTER TABLE sign_on_without RENAME TO sign_on;
