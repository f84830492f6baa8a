-- What is said later of a gauge, of a return and of the house, and what the log showed at each sign-off. The latest of
-- each name counts; '' takes it back. Which names there are, and what may be said, is held by the services
-- (qclog/domain), since DuckDB can't alter a CHECK.

-- One row per thing said of a gauge, such as the tolerance of its checks, in its unit.
CREATE TABLE gauge_detail (
    id UUID PRIMARY KEY,
    gauge VARCHAR NOT NULL CHECK (length(gauge) BETWEEN 1 AND 200),
    name VARCHAR NOT NULL CHECK (length(name) BETWEEN 1 AND 60),
    value VARCHAR NOT NULL CHECK (length(value) <= 500),
    entry BIGINT NOT NULL,
    UNIQUE (gauge, name, entry)
);

-- One row per thing said of a return after it was opened: what was received, inspected, found, decided, what it cost.
CREATE TABLE comeback_detail (
    id UUID PRIMARY KEY,
    job VARCHAR NOT NULL CHECK (length(job) BETWEEN 1 AND 200),
    returned TIMESTAMP NOT NULL,
    name VARCHAR NOT NULL CHECK (length(name) BETWEEN 1 AND 60),
    value VARCHAR NOT NULL CHECK (length(value) <= 5000),
    entry BIGINT NOT NULL,
    UNIQUE (job, returned, name, entry)
);

-- One row per sign-off: the entry the log stood at when it was shown to whoever signed, and that entry's digest.
CREATE TABLE sign_off (
    id UUID PRIMARY KEY,
    job VARCHAR NOT NULL CHECK (length(job) BETWEEN 1 AND 200),
    shown_entry BIGINT NOT NULL CHECK (shown_entry >= 0),
    shown_digest VARCHAR NOT NULL CHECK (length(shown_digest) BETWEEN 1 AND 200),
    entry BIGINT NOT NULL
);

-- One row per thing the house set for itself: a code of complaints or failures and its words, a rate and its amount.
CREATE TABLE house_detail (
    id UUID PRIMARY KEY,
    name VARCHAR NOT NULL CHECK (length(name) BETWEEN 1 AND 60),
    code VARCHAR NOT NULL CHECK (length(code) BETWEEN 1 AND 60),
    value VARCHAR NOT NULL CHECK (length(value) <= 500),
    entry BIGINT NOT NULL,
    UNIQUE (name, code, entry)
);
