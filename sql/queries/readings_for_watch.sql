-- One row per place (job, characteristic, stage, position) of the whole log: the reading that counts there.
SELECT j.case_type, r.job, r.characteristic, r.stage, r.position, r.kind, r.low, r.high, r.gauge, r.technician,
    r.taken_at, r.entry
FROM reading_now AS r
JOIN job AS j USING (job)
