-- One row per person under whose name a wrong PIN was tried since $since: how many, the last, and those in a row until
-- now (since the last good one or the last new PIN).
SELECT
    s.person,
    count(*) FILTER (s.tried_at >= $since) AS tries,
    max(s.tried_at) AS last,
    coalesce(list(s.tried_at ORDER BY s.entry) FILTER (
        s.entry > coalesce((SELECT max(entry) FROM sign_on WHERE person = p.person AND good), 0)
        AND s.entry > coalesce(p.pin_entry, 0)
    ), []) AS in_a_row
FROM sign_on AS s
INNER JOIN person_now AS p USING (person)
WHERE NOT s.good
GROUP BY s.person, p.person, p.pin_entry
HAVING count(*) FILTER (s.tried_at >= $since) > 0
ORDER BY last DESC
