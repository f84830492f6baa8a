-- Entries at the bench or a terminal of readings taken more than a day before. Imports are late by nature.
SELECT e.entry, e.entered_by, count(*) AS readings, min(r.job) AS job, min(r.taken_at) AS taken_at, e.entered_at
FROM reading AS r
JOIN entry AS e USING (entry)
WHERE e.via IN ('bench', 'terminal') AND r.taken_at < e.entered_at - INTERVAL 1 DAY
GROUP BY e.entry, e.entered_by, e.entered_at
ORDER BY e.entry
