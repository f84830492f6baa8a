-- One row per part of the job.
SELECT p.part, p.lot, p.supplier, p.condition, p.sub_assembly, e.entered_at, e.entered_by
FROM part AS p
JOIN entry AS e USING (entry)
WHERE p.job = $job
ORDER BY p.entry, p.id
