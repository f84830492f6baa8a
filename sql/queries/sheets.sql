-- One row per version of every sheet, oldest entry first.
SELECT case_type, version, since, text, entry FROM sheet ORDER BY case_type, since NULLS FIRST, entry
