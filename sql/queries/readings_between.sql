-- One row per reading taken from $since until just before $until, every attempt kept.
SELECT j.case_type, r.job, r.characteristic, r.stage, r.position, r.attempt, r.kind, r.gauge, r.taken_at, r.reason,
    e.entered_at, e.via, r.replaces IS NOT NULL AS corrects,
    EXISTS (SELECT 1 FROM strike AS s WHERE s.reading = r.id) AS struck
FROM reading AS r
JOIN job AS j USING (job)
JOIN entry AS e ON e.entry = r.entry
WHERE r.taken_at >= $since AND r.taken_at < $until
ORDER BY r.entry, r.taken_at, r.id
