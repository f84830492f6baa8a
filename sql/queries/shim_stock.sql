-- One row per size of leaf: how many there are now, and the least there should be of its packet size.
SELECT s.stock_set, s.nominal, s.measured, s.unit, s.layer,
    CAST(coalesce((
        SELECT sum(m.change) FROM shim_movement AS m
        WHERE m.stock_set = s.stock_set AND m.nominal = s.nominal AND m.measured = s.measured
    ), 0) AS BIGINT) AS leaves,
    (SELECT arg_max(n.minimum, (n.entry, n.id)) FROM shim_minimum AS n
        WHERE n.stock_set = s.stock_set AND n.nominal = s.nominal) AS minimum
FROM shim_size AS s
ORDER BY s.stock_set, s.nominal, s.measured
