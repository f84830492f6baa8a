-- One row per version of a sheet whose beginning its text does not tell: of case types with several versions.
SELECT case_type, version, since
FROM sheet
WHERE case_type IN (SELECT case_type FROM sheet GROUP BY case_type HAVING count(*) > 1)
ORDER BY case_type, since NULLS FIRST, entry
