-- At most one row: the last entry and its digest.
SELECT d.entry, d.digest, e.entered_at
FROM entry_digest AS d
LEFT JOIN entry AS e USING (entry)
ORDER BY d.entry DESC
LIMIT 1
