-- One row per case type: how many jobs, and the times of the first and last.
SELECT s.case_type, count(j.job) AS jobs, min(j.opened) AS first_opened, max(j.opened) AS last_opened
FROM (SELECT DISTINCT case_type FROM sheet) AS s
LEFT JOIN job AS j USING (case_type)
GROUP BY s.case_type
ORDER BY s.case_type
