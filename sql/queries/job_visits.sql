-- One row per visit of the same case, in time order.
SELECT n.job, n.opened, n.dispatched, n.rebuild, n.machining_batch
FROM job_now AS n
WHERE n.case_type = $case_type AND n.case_serial = $case_serial
ORDER BY n.opened, n.job
