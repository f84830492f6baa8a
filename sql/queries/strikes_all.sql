-- One row per strike-out, with the place of its reading.
SELECT r.job, r.characteristic, r.stage, r.position, r.attempt, s.person AS "by", s.reason
FROM strike AS s
JOIN reading AS r ON r.id = s.reading
ORDER BY s.entry, s.id
