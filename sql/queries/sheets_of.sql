-- One row per version of one case type's sheet, with who entered it.
SELECT s.case_type, s.version, s.since, s.text, s.entry, e.entered_by AS by, e.entered_at
FROM sheet AS s
JOIN entry AS e USING (entry)
WHERE s.case_type = $case_type
ORDER BY s.since NULLS FIRST, s.entry
