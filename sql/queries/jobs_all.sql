-- One row per job as it stands, in the order they were opened.
SELECT * FROM job_now ORDER BY opened, job
