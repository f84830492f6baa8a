-- One row per reading of the job, every attempt and correction kept, in the order they were taken. `counts` says
-- whether it is the one that counts now at its place.
WITH here AS (
    SELECT r.*, s.reason AS struck_why, s.person AS struck_by,
        EXISTS (
            SELECT 1 FROM reading AS c
            WHERE c.job = r.job AND c.characteristic = r.characteristic AND c.stage = r.stage
              AND c.position = r.position AND c.replaces = r.attempt
        ) AS replaced,
        EXISTS (
            SELECT 1 FROM reading AS c
            WHERE c.job = r.job AND c.characteristic = r.characteristic AND c.stage = r.stage
              AND c.position = r.position AND c.replaces = r.replaces AND c.attempt > r.attempt
        ) AS corrected_again
    FROM reading AS r
    LEFT JOIN (SELECT reading, min(reason) AS reason, min(person) AS person FROM strike GROUP BY reading) AS s
        ON s.reading = r.id
    WHERE r.job = $job
)
SELECT
    here.*, e.entered_at, e.entered_by, e.via,
    NOT replaced AND struck_why IS NULL AND attempt = max(attempt) FILTER (NOT replaced AND struck_why IS NULL)
        OVER (PARTITION BY characteristic, stage, position) AS counts
FROM here
JOIN entry AS e USING (entry)
ORDER BY here.entry, here.taken_at, here.id
