-- Readings whose numbers do not fit their kind.
SELECT id, job, characteristic, kind, low, high, word FROM reading
WHERE CASE kind
    WHEN 'point' THEN low IS NULL OR low <> high OR word IS NOT NULL
    WHEN 'bracket' THEN low IS NULL OR high IS NULL OR low >= high OR word IS NOT NULL
    WHEN 'below' THEN low IS NOT NULL OR word IS NOT NULL
    WHEN 'above' THEN low IS NULL OR high IS NOT NULL OR word IS NOT NULL
    WHEN 'word' THEN word IS NULL OR low IS NOT NULL OR high IS NOT NULL
    ELSE low IS NOT NULL OR high IS NOT NULL OR word IS NOT NULL
END
