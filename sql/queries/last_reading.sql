-- At most one row: the last reading entered for the job that still counts.
SELECT r.*
FROM reading AS r
WHERE r.job = $job
  AND NOT EXISTS (SELECT 1 FROM strike AS s WHERE s.reading = r.id)
  AND NOT EXISTS (
      SELECT 1 FROM reading AS c
      WHERE c.job = r.job AND c.characteristic = r.characteristic AND c.stage = r.stage
        AND c.position = r.position AND c.replaces = r.attempt
  )
ORDER BY r.entry DESC, r.id DESC
LIMIT 1
