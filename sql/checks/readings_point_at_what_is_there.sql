-- Readings whose job, gauge, technician or entry is not in the log.
SELECT id, job, characteristic, gauge, technician, entry FROM reading
WHERE entry NOT IN (SELECT entry FROM entry)
   OR job NOT IN (SELECT job FROM job)
   OR technician NOT IN (SELECT person FROM person)
   OR (gauge IS NOT NULL AND gauge NOT IN (SELECT gauge FROM gauge))
