-- Notes on findings, and changes, by someone or about a gauge, person or case type that is not in the log.
SELECT 'note' AS what, finding AS about, person FROM finding_note
WHERE person NOT IN (SELECT person FROM person)
UNION ALL
SELECT 'change', coalesce(case_type, level), person FROM change
WHERE person NOT IN (SELECT person FROM person)
   OR (identifier = 'gauge' AND level NOT IN (SELECT gauge FROM gauge))
   OR (identifier = 'technician' AND level NOT IN (SELECT person FROM person))
   OR (case_type IS NOT NULL AND case_type NOT IN (SELECT case_type FROM sheet))
