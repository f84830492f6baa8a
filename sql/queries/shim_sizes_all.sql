-- One row per size of leaf, as the exchange folder has it.
SELECT s.stock_set AS "set", s.nominal, s.measured, s.unit, s.layer,
    (SELECT arg_max(n.minimum, (n.entry, n.id)) FROM shim_minimum AS n
        WHERE n.stock_set = s.stock_set AND n.nominal = s.nominal) AS minimum
FROM shim_size AS s
ORDER BY s.stock_set, s.nominal, s.measured
