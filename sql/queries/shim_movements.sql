-- One row per movement of shim leaves, in the order they came into the log.
SELECT m.stock_set AS "set", m.nominal, m.measured, m.moved_at, m.change, m.why, m.job, m.person AS "by", m.note,
    m.entry
FROM shim_movement AS m
ORDER BY m.entry, m.id
