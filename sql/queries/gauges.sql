-- One row per gauge, with the tolerance of its checks where one was set, its last check and whether it is withdrawn now.
SELECT
    g.* EXCLUDE (entry),
    (SELECT TRY_CAST(nullif(arg_max(d.value, d.entry), '') AS DOUBLE) FROM gauge_detail AS d
        WHERE d.gauge = g.gauge AND d.name = 'tolerance') AS tolerance,
    max(c.checked_at) FILTER (c.event IN ('check', 'calibrated')) AS last_checked,
    max(c.checked_at) FILTER (c.event = 'dropped') AS last_dropped,
    coalesce(arg_max(c.event, (c.checked_at, c.id)) FILTER (c.event IN ('withdrawn', 'returned')), '') = 'withdrawn' AS withdrawn
FROM gauge AS g
LEFT JOIN gauge_check AS c USING (gauge)
GROUP BY ALL
ORDER BY g.gauge
