-- One row: what the findings follow from, so that those worked out for the same are not worked out again: the last entry
-- with its digest, and how many versions of sheets are in force by now (UTC).
SELECT
    d.entry,
    d.digest,
    (SELECT count(*) FROM sheet WHERE since IS NULL OR since <= $now) AS sheets
FROM entry_digest AS d
ORDER BY d.entry DESC
LIMIT 1
