-- One row per place (job, characteristic, stage, position) of the whole log: the reading that counts there.
WITH corrected AS (
    SELECT job, characteristic, stage, position, replaces AS attempt FROM reading WHERE replaces IS NOT NULL
),
standing AS (
    SELECT r.* FROM reading AS r
    ANTI JOIN corrected AS c USING (job, characteristic, stage, position, attempt)
    ANTI JOIN strike AS s ON s.reading = r.id
),
last_of_many AS (
    SELECT job, characteristic, stage, position, max(attempt) AS last
    FROM standing
    WHERE attempt > 1
    GROUP BY job, characteristic, stage, position
)
SELECT j.case_type, s.job, s.characteristic, s.stage, s.position, s.kind, s.low, s.high, s.gauge, s.technician,
    s.taken_at, s.entry
FROM standing AS s
JOIN job AS j USING (job)
LEFT JOIN last_of_many AS m USING (job, characteristic, stage, position)
WHERE m.last IS NULL OR m.last = s.attempt
