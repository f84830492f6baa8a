-- One row per final pack that counts: the named characteristics of one case type, the latest job first.
WITH standing AS (
    SELECT r.job, r.characteristic, r.attempt, r.low, r.high, r.unit, r.taken_at
    FROM reading AS r
    WHERE list_contains($codes, r.characteristic) AND r.stage = 'final'
      AND r.job IN (SELECT job FROM job WHERE case_type = $case_type)
      AND NOT EXISTS (SELECT 1 FROM strike AS s WHERE s.reading = r.id)
      AND NOT EXISTS (
          SELECT 1 FROM reading AS c
          WHERE c.job = r.job AND c.characteristic = r.characteristic AND c.stage = r.stage
            AND c.position = r.position AND c.replaces = r.attempt
      )
)
SELECT job, characteristic, (low + high) / 2 AS pack, unit, taken_at
FROM standing
WHERE low IS NOT NULL AND high IS NOT NULL
QUALIFY attempt = max(attempt) OVER (PARTITION BY job, characteristic)
ORDER BY taken_at DESC, job, characteristic
