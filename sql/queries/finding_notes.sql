-- One row per thing said of a finding, the oldest first.
SELECT finding, state, found, done, told, person AS "by", noted_at, entry
FROM finding_note
ORDER BY noted_at, entry, id
