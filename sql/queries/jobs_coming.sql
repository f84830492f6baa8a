-- One row per case type: its jobs not dispatched yet, and those opened in the 90 days up to the last one opened.
SELECT case_type,
    count(*) FILTER (dispatched IS NULL) AS open_jobs,
    count(*) FILTER (opened > (SELECT max(opened) FROM job) - INTERVAL 90 DAY) AS opened_lately
FROM job_now
GROUP BY case_type
ORDER BY case_type
