-- One row per recorded change of the work, the oldest first.
SELECT kind, case_type, characteristic, identifier, level, since, note, person AS "by", entry
FROM change
ORDER BY since, entry, id
