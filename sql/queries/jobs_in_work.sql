-- One row per job that has not left, the last touched first.
SELECT n.job, n.case_type, n.case_serial, n.dispatched
FROM job_now AS n
LEFT JOIN (SELECT job, max(taken_at) AS last_taken FROM reading GROUP BY job) AS r USING (job)
WHERE n.dispatched IS NULL
ORDER BY coalesce(r.last_taken, n.opened) DESC, n.job
LIMIT $most
