-- Sizes of leaf of which more went out than ever came in.
SELECT stock_set, nominal, measured, sum(change) AS count
FROM shim_movement
GROUP BY stock_set, nominal, measured
HAVING sum(change) < 0
