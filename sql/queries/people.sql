-- One row per person.
SELECT person, role FROM person ORDER BY person
