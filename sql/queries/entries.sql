-- One row per entry, in order.
SELECT entry, entered_at, entered_by, via, what FROM entry ORDER BY entry
