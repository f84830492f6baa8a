-- One row: the number of the last entry, which changes with everything stored.
SELECT coalesce(max(entry), 0) AS revision FROM entry
