-- One row per version of one case type's sheet.
SELECT case_type, version, since, text, entry FROM sheet
WHERE case_type = $case_type
ORDER BY since NULLS FIRST, entry
