-- At most one row: the reading that a submission was stored as.
SELECT r.job, r.characteristic, r.stage, r.position, r.attempt, r.said, r.technician
FROM reading AS r
JOIN entry AS e USING (entry)
WHERE e.submission = $submission
ORDER BY r.id
LIMIT 1
