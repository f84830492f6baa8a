-- One row per thing that is now other than when a person was added: a role, or that they have left. PINs stay here.
SELECT person, name AS what, arg_max(value, entry) AS value
FROM person_detail
WHERE name IN ('role', 'left')
GROUP BY person, name
ORDER BY person, name
