-- One row per job, the last touched first.
SELECT n.*, coalesce(r.readings, 0) AS readings, r.last_taken
FROM job_now AS n
LEFT JOIN (
    SELECT job, count(*) AS readings, max(taken_at) AS last_taken FROM reading GROUP BY job
) AS r USING (job)
ORDER BY coalesce(r.last_taken, n.opened) DESC, n.job
LIMIT $most
