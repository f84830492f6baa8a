-- One row per place (job, characteristic, stage, position) of one case type: the reading that counts there.
SELECT job, characteristic, stage, position, attempt, kind, low, high, gauge, technician, taken_at, entry
FROM reading_now
WHERE list_contains($codes, characteristic)
  AND job IN (SELECT job FROM job WHERE case_type = $case_type)
