-- One row per place of one characteristic at one stage, over the jobs of a case type: the reading that counts there.
SELECT job, position, low, high
FROM reading_now
WHERE characteristic = $characteristic
  AND stage = $stage
  AND job IN (SELECT job FROM job WHERE case_type = $case_type)
