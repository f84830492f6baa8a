-- One row per place (job, characteristic, stage, position) of one case type: the reading that counts there, which is
-- the last attempt that is neither corrected nor struck out. Most places have one attempt, so only the rest are
-- grouped.
WITH wanted AS (
    SELECT r.id, r.job, r.characteristic, r.stage, r.position, r.attempt, r.replaces, r.kind, r.low, r.high,
        r.gauge, r.technician, r.taken_at, r.entry
    FROM reading AS r
    WHERE list_contains($codes, r.characteristic)
      AND r.job IN (SELECT job FROM job WHERE case_type = $case_type)
),
corrected AS (
    SELECT job, characteristic, stage, position, replaces AS attempt FROM wanted WHERE replaces IS NOT NULL
),
standing AS (
    SELECT w.* FROM wanted AS w
    ANTI JOIN corrected AS c USING (job, characteristic, stage, position, attempt)
    ANTI JOIN strike AS s ON s.reading = w.id
),
last_of_many AS (
    SELECT job, characteristic, stage, position, max(attempt) AS last
    FROM standing
    WHERE attempt > 1
    GROUP BY job, characteristic, stage, position
)
SELECT s.job, s.characteristic, s.stage, s.position, s.attempt, s.kind, s.low, s.high, s.gauge, s.technician,
    s.taken_at, s.entry
FROM standing AS s
LEFT JOIN last_of_many AS m USING (job, characteristic, stage, position)
WHERE m.last IS NULL OR m.last = s.attempt
