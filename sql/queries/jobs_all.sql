-- One row per job as it stands, in the order they were entered.
SELECT * FROM job_now ORDER BY entry, opened, job
