-- One row per gauge event, oldest first.
SELECT gauge, checked_at, event, reference, reading, unit, person AS by, note, entry
FROM gauge_check
ORDER BY checked_at, id
