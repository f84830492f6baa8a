-- One row per place (job, characteristic, stage, position) of one case type: the reading that counts there.
WITH wanted AS (
    SELECT r.id, r.job, r.characteristic, r.stage, r.position, r.attempt, r.replaces, r.kind, r.low, r.high,
        r.gauge, r.technician, r.taken_at, r.entry
    FROM reading AS r
    JOIN job AS j USING (job)
    WHERE j.case_type = $case_type AND list_contains($codes, r.characteristic)
),
corrected AS (
    SELECT job, characteristic, stage, position, replaces AS attempt FROM wanted WHERE replaces IS NOT NULL
),
standing AS (
    SELECT w.* FROM wanted AS w
    ANTI JOIN corrected AS c USING (job, characteristic, stage, position, attempt)
    ANTI JOIN strike AS s ON s.reading = w.id
)
SELECT
    job, characteristic, stage, position,
    max(attempt) AS attempt,
    arg_max(kind, attempt) AS kind,
    arg_max_null(low, attempt) AS low,
    arg_max_null(high, attempt) AS high,
    arg_max_null(gauge, attempt) AS gauge,
    arg_max(technician, attempt) AS technician,
    arg_max(taken_at, attempt) AS taken_at,
    arg_max(entry, attempt) AS entry
FROM standing
GROUP BY job, characteristic, stage, position
ORDER BY taken_at, entry, job, characteristic, stage, position
