-- At most one row: the last entry that said anything of a job, and its digest.
SELECT d.entry, d.digest, e.entered_at
FROM entry_digest AS d
JOIN entry AS e USING (entry)
WHERE d.entry = (
    SELECT max(entry) FROM (
        SELECT entry FROM job WHERE job = $job
        UNION ALL SELECT entry FROM job_detail WHERE job = $job
        UNION ALL SELECT entry FROM part WHERE job = $job OR sub_assembly = $job
        UNION ALL SELECT entry FROM reading WHERE job = $job
        UNION ALL SELECT s.entry FROM strike AS s JOIN reading AS r ON r.id = s.reading WHERE r.job = $job
        UNION ALL SELECT entry FROM comeback WHERE job = $job
        UNION ALL SELECT entry FROM shim_movement WHERE job = $job
    )
)
