-- One row per comeback of the job, as it stands.
SELECT c.returned, c.complaint, c.finding, c.attributable, c.hours, e.entered_at, e.entered_by
FROM comeback_now AS c
JOIN entry AS e USING (entry)
WHERE c.job = $job
ORDER BY c.returned, c.id
