-- One row per job, with what was last said of it ('' took it back).
CREATE OR REPLACE TEMP VIEW job_now AS
SELECT
    j.job,
    j.case_type,
    nullif(arg_max(d.value, d.entry) FILTER (d.name = 'case_serial'), '') AS case_serial,
    nullif(arg_max(d.value, d.entry) FILTER (d.name = 'casting'), '') AS casting,
    TRY_CAST(nullif(arg_max(d.value, d.entry) FILTER (d.name = 'rebuild'), '') AS INTEGER) AS rebuild,
    nullif(arg_max(d.value, d.entry) FILTER (d.name = 'machining_batch'), '') AS machining_batch,
    nullif(arg_max(d.value, d.entry) FILTER (d.name = 'variant'), '') AS variant,
    j.opened,
    TRY_CAST(nullif(arg_max(d.value, d.entry) FILTER (d.name = 'dispatched'), '') AS TIMESTAMP) AS dispatched,
    nullif(arg_max(d.value, d.entry) FILTER (d.name = 'customer_ref'), '') AS customer_ref,
    nullif(arg_max(d.value, d.entry) FILTER (d.name = 'outstanding'), '') AS outstanding,
    nullif(arg_max(d.value, d.entry) FILTER (d.name = 'concession'), '') AS concession,
    j.entry
FROM job AS j
LEFT JOIN job_detail AS d USING (job)
GROUP BY j.job, j.case_type, j.opened, j.entry;
