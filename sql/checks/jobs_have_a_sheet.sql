-- Jobs of a case type without a sheet.
SELECT job, case_type FROM job WHERE case_type NOT IN (SELECT case_type FROM sheet)
