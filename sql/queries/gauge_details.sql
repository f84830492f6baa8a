-- One row per thing said of a gauge later, as it stands now.
SELECT gauge, name, arg_max(value, entry) AS value FROM gauge_detail GROUP BY gauge, name ORDER BY gauge, name
