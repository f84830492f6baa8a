-- One row per digest of the chain, in order.
SELECT d.entry, d.how, d.digest, e.entered_at, e.entered_by, e.what
FROM entry_digest AS d
LEFT JOIN entry AS e USING (entry)
ORDER BY d.entry
