-- Entries whose clock stood before that of the entry they followed. Their order is that of the entries, not of the clock.
SELECT entry, entered_at, entered_by, before AS entry_before_at
FROM (SELECT *, lag(entered_at) OVER (ORDER BY entry) AS before FROM entry)
WHERE entered_at < before
ORDER BY entry
