-- One row per place (job, characteristic, stage, position): the reading that counts there, which is the last attempt
-- that is neither corrected nor struck out. Most places have one attempt, so only the rest are grouped.
CREATE OR REPLACE TEMP VIEW reading_now AS
WITH standing AS (
    SELECT r.* FROM reading AS r
    ANTI JOIN (
        SELECT job, characteristic, stage, position, replaces AS attempt FROM reading WHERE replaces IS NOT NULL
    ) AS c USING (job, characteristic, stage, position, attempt)
    ANTI JOIN strike AS s ON s.reading = r.id
),
last_of_many AS (
    SELECT job, characteristic, stage, position, max(attempt) AS last
    FROM standing
    WHERE attempt > 1
    GROUP BY job, characteristic, stage, position
)
SELECT s.*
FROM standing AS s
LEFT JOIN last_of_many AS m USING (job, characteristic, stage, position)
WHERE m.last IS NULL OR m.last = s.attempt;
