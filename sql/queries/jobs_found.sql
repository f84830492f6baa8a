-- One row per job whose number, serial, casting, batch, customer reference or lot holds the text, newest first.
SELECT n.*, coalesce(r.readings, 0) AS readings, r.last_taken
FROM job_now AS n
LEFT JOIN (
    SELECT job, count(*) AS readings, max(taken_at) AS last_taken FROM reading GROUP BY job
) AS r USING (job)
WHERE contains(
    lower(concat_ws(chr(10), n.job, n.case_serial, n.casting, n.machining_batch, n.customer_ref,
        (SELECT string_agg(p.lot, chr(10)) FROM part AS p WHERE p.job = n.job))),
    lower($text)
)
ORDER BY n.opened DESC, n.job
LIMIT $most
