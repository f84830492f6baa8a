-- One row per person as they stand: role, whether they have left, and the hash of their PIN (null: none).
CREATE OR REPLACE TEMP VIEW person_now AS
WITH latest AS (
    SELECT person, name, arg_max(value, entry) AS value, max(entry) AS entry
    FROM person_detail
    GROUP BY person, name
)
SELECT
    p.person,
    coalesce(r.value, p.role) AS role,
    coalesce(l.value, '') = 'yes' AS has_left,
    nullif(h.value, '') AS pin,
    h.entry AS pin_entry,
    p.entry
FROM person AS p
LEFT JOIN latest AS r ON r.person = p.person AND r.name = 'role'
LEFT JOIN latest AS l ON l.person = p.person AND l.name = 'left'
LEFT JOIN latest AS h ON h.person = p.person AND h.name = 'pin';
