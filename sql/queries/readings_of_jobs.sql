-- One row per reading in the log at the places the incoming rows name.
SELECT r.job, r.characteristic, r.stage, r.position, r.attempt, r.kind, r.low, r.high, r.word
FROM reading AS r
SEMI JOIN incoming_jobs AS i USING (job)
