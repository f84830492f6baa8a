-- One row per reading, in the order they were entered.
SELECT job, characteristic, stage, position, attempt, said AS reading, said_unit AS unit, gauge, technician, taken_at,
    conditions, note, replaces, reason
FROM reading
ORDER BY entry, id
