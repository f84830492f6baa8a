-- Who may do what, and who it was. What is said of a person later is added, never updated.

-- One row per thing said of a person, once in an entry; the latest of each name counts. `role`: one of person's;
-- `left`: 'yes', or '' for back again; `pin`: a slow hash (Argon2id, its own text form), or '' for no PIN.
CREATE TABLE person_detail (
    id UUID PRIMARY KEY,
    person VARCHAR NOT NULL REFERENCES person (person),
    name VARCHAR NOT NULL CHECK (name IN ('role', 'left', 'pin')),
    value VARCHAR NOT NULL CHECK (length(value) <= 500),
    entry BIGINT NOT NULL REFERENCES entry (entry),
    UNIQUE (person, name, entry),
    CHECK (name <> 'role' OR value IN ('technician', 'inspector', 'manager', 'warranty', 'stores')),
    CHECK (name <> 'left' OR value IN ('yes', '')),
    CHECK (name <> 'pin' OR value = '' OR value LIKE '$argon2id$%')
);

-- One row per try to sign on with a PIN.
CREATE TABLE sign_on (
    id UUID PRIMARY KEY,
    person VARCHAR NOT NULL REFERENCES person (person),
    tried_at TIMESTAMP NOT NULL,
    good BOOLEAN NOT NULL,
    entry BIGINT NOT NULL REFERENCES entry (entry)
);
