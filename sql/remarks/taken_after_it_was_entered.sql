-- Entries with readings taken, by their own time, more than a minute after they were entered: one of two clocks was wrong.
SELECT e.entry, e.entered_by, count(*) AS readings, min(r.job) AS job, max(r.taken_at) AS taken_at, e.entered_at
FROM reading AS r
JOIN entry AS e USING (entry)
WHERE r.taken_at > e.entered_at + INTERVAL 1 MINUTE
GROUP BY e.entry, e.entered_by, e.entered_at
ORDER BY e.entry
