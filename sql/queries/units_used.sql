-- One row per unit that any row of the log names.
SELECT DISTINCT unit FROM (
    SELECT unit FROM reading
    UNION SELECT said_unit FROM reading
    UNION SELECT unit FROM gauge
    UNION SELECT unit FROM gauge_check
    UNION SELECT unit FROM shim_size
)
WHERE unit IS NOT NULL
ORDER BY unit
