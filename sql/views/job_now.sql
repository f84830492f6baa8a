-- One row per job, with what was last said of it.
CREATE OR REPLACE TEMP VIEW job_now AS
WITH latest AS (
    SELECT job, name, nullif(arg_max(value, (entry, id)), '') AS value
    FROM job_detail
    GROUP BY job, name
)
SELECT
    j.job,
    j.case_type,
    max(l.value) FILTER (l.name = 'case_serial') AS case_serial,
    max(l.value) FILTER (l.name = 'casting') AS casting,
    TRY_CAST(max(l.value) FILTER (l.name = 'rebuild') AS INTEGER) AS rebuild,
    max(l.value) FILTER (l.name = 'machining_batch') AS machining_batch,
    max(l.value) FILTER (l.name = 'variant') AS variant,
    j.opened,
    TRY_CAST(max(l.value) FILTER (l.name = 'dispatched') AS TIMESTAMP) AS dispatched,
    max(l.value) FILTER (l.name = 'customer_ref') AS customer_ref,
    max(l.value) FILTER (l.name = 'outstanding') AS outstanding,
    max(l.value) FILTER (l.name = 'concession') AS concession,
    j.entry
FROM job AS j
LEFT JOIN latest AS l USING (job)
GROUP BY ALL;
