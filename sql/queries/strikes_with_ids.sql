-- One row per incoming strike-out, with the id of its reading, in the order of the incoming rows.
SELECT r.id AS reading, i.person, i.reason, i.entry
FROM incoming_strikes AS i
JOIN reading AS r USING (job, characteristic, stage, position, attempt)
ORDER BY i.number
