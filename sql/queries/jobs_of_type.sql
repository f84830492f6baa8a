-- One row per job of one case type.
SELECT * FROM job_now WHERE case_type = $case_type
