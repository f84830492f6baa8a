-- One row per part.
SELECT * EXCLUDE (id, entry) FROM part ORDER BY entry, id
