-- One row per thing said of the job, oldest first.
SELECT d.name, d.value, d.reason, d.entry, e.entered_at, e.entered_by
FROM job_detail AS d
JOIN entry AS e USING (entry)
WHERE d.job = $job
ORDER BY d.entry, d.id
