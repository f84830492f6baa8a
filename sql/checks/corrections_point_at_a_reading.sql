-- Corrections that name an attempt which is not there.
SELECT r.job, r.characteristic, r.stage, r.position, r.attempt, r.replaces
FROM reading AS r
WHERE r.replaces IS NOT NULL
  AND NOT EXISTS (
      SELECT 1 FROM reading AS o
      WHERE o.job = r.job AND o.characteristic = r.characteristic AND o.stage = r.stage
        AND o.position = r.position AND o.attempt = r.replaces
  )
