-- One row per attempt of the named characteristics in jobs of one case type that was not struck out or corrected: all
-- attempts, not only the last, in the order they came.
SELECT r.job, r.characteristic, r.stage, r.position, r.attempt, r.low, r.high
FROM reading AS r
WHERE list_contains($codes, r.characteristic)
  AND r.job IN (SELECT job FROM job WHERE case_type = $case_type)
  AND NOT EXISTS (SELECT 1 FROM strike AS s WHERE s.reading = r.id)
  AND NOT EXISTS (
      SELECT 1 FROM reading AS c
      WHERE c.job = r.job AND c.characteristic = r.characteristic AND c.stage = r.stage
        AND c.position = r.position AND c.replaces = r.attempt
  )
ORDER BY r.job, r.entry, r.taken_at, r.id
