-- Shim stock. Sizes are added once; what is there is the sum of movements, which are only ever added.

-- One row per size of leaf in a stock set: what the packet says, and what it measures. `layer`: thickness of one layer
-- of laminated stock; empty for solid leaves. All in `unit`, the same for a whole set.
CREATE TABLE shim_size (
    stock_set VARCHAR NOT NULL CHECK (length(stock_set) BETWEEN 1 AND 60),
    nominal DOUBLE NOT NULL CHECK (nominal > 0 AND nominal < 1e300),
    measured DOUBLE NOT NULL CHECK (measured > 0 AND measured < 1e300),
    unit VARCHAR NOT NULL,
    layer DOUBLE CHECK (layer > 0 AND layer <= measured),
    entry BIGINT NOT NULL REFERENCES entry (entry),
    PRIMARY KEY (stock_set, nominal, measured)
);

-- One row per minimum said of a packet size; the latest counts.
CREATE TABLE shim_minimum (
    id UUID PRIMARY KEY,
    stock_set VARCHAR NOT NULL CHECK (length(stock_set) BETWEEN 1 AND 60),
    nominal DOUBLE NOT NULL CHECK (nominal > 0 AND nominal < 1e300),
    minimum INTEGER NOT NULL CHECK (minimum BETWEEN 0 AND 1000000),
    entry BIGINT NOT NULL REFERENCES entry (entry)
);

-- One row per movement of leaves in or out. What is taken goes to a job; `counted` puts a drawer right.
CREATE TABLE shim_movement (
    id UUID PRIMARY KEY,
    stock_set VARCHAR NOT NULL,
    nominal DOUBLE NOT NULL,
    measured DOUBLE NOT NULL,
    moved_at TIMESTAMP NOT NULL,
    change INTEGER NOT NULL CHECK (change <> 0 AND change BETWEEN -1000000 AND 1000000),
    why VARCHAR NOT NULL CHECK (why IN ('bought', 'counted', 'taken', 'returned', 'scrapped')),
    job VARCHAR REFERENCES job (job),
    person VARCHAR REFERENCES person (person),
    note VARCHAR,
    entry BIGINT NOT NULL REFERENCES entry (entry),
    FOREIGN KEY (stock_set, nominal, measured) REFERENCES shim_size (stock_set, nominal, measured),
    CHECK (why NOT IN ('taken', 'returned') OR job IS NOT NULL),
    CHECK ((why IN ('bought', 'returned') AND change > 0) OR (why IN ('taken', 'scrapped') AND change < 0) OR why = 'counted')
);
