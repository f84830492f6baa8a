-- One row per job whose number, serial, casting, batch, customer reference or lot holds the text, newest first.
SELECT DISTINCT n.*
FROM job_now AS n
LEFT JOIN part AS p USING (job)
WHERE contains(lower(concat_ws(chr(10), n.job, n.case_serial, n.casting, n.machining_batch, n.customer_ref, p.lot)),
               lower($text))
ORDER BY n.opened DESC, n.job
LIMIT $most
