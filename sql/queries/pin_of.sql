-- One row: a person's PIN hash, and when their wrong tries since the last good one or the last new PIN were.
SELECT
    p.pin,
    coalesce(list(s.tried_at ORDER BY s.entry) FILTER (
        NOT s.good
        AND s.entry > coalesce((SELECT max(entry) FROM sign_on WHERE person = p.person AND good), 0)
        AND s.entry > coalesce(p.pin_entry, 0)
    ), []) AS wrong
FROM person_now AS p
LEFT JOIN sign_on AS s USING (person)
WHERE p.person = $person
GROUP BY p.person, p.pin, p.pin_entry
