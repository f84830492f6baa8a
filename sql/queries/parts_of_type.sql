-- One row per part of every job of one case type.
SELECT p.job, p.part, p.lot, p.supplier, p.condition, p.sub_assembly
FROM part AS p
JOIN job AS j USING (job)
WHERE j.case_type = $case_type
ORDER BY p.entry, p.id
