-- One row per part.
SELECT job, part, lot, supplier, condition, sub_assembly FROM part ORDER BY entry, id
