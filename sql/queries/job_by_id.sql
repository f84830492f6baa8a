-- One row: the job as it stands.
SELECT * FROM job_now WHERE job = $job
