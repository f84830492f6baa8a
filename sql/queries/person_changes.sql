-- One row per later role or leaving of a person, the oldest first; PINs stay in the log.
SELECT d.person, d.name AS what, d.value, e.entered_by AS by, e.entered_at AS said_at
FROM person_detail AS d
JOIN entry AS e USING (entry)
WHERE d.name IN ('role', 'left')
ORDER BY d.entry, d.id
