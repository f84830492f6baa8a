-- One row per person as they stand now, their PIN's hash left out.
SELECT person, role, has_left, pin IS NOT NULL AS has_pin FROM person_now ORDER BY person
