-- One row per attempt at one place of one job.
SELECT r.id, r.attempt, r.replaces, r.kind, r.low, r.high, r.word, r.said, r.gauge, r.conditions, r.entry, r.technician,
    e.entered_by
FROM reading AS r
JOIN entry AS e USING (entry)
WHERE r.job = $job AND r.characteristic = $characteristic AND r.stage = $stage AND r.position = $position
ORDER BY r.attempt
