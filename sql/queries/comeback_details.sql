-- One row per thing said of a return after it was opened, as it stands now, with who said it when.
SELECT
    d.job, d.returned, d.name, arg_max(d.value, d.entry) AS value,
    arg_max(e.entered_at, d.entry) AS entered_at, arg_max(e.entered_by, d.entry) AS entered_by
FROM comeback_detail AS d
JOIN entry AS e USING (entry)
GROUP BY d.job, d.returned, d.name
ORDER BY d.job, d.returned, d.name
