-- One row per comeback, as it stands with what was said of it since ('' took it back), and who said last whether it is ours
-- or what was found.
CREATE OR REPLACE TEMP VIEW comeback_now AS
WITH said AS (
    SELECT
        job, returned,
        arg_max(value, entry) FILTER (name = 'complaint') AS complaint,
        arg_max(value, entry) FILTER (name = 'finding') AS finding,
        arg_max(value, entry) FILTER (name = 'attributable') AS attributable,
        arg_max(value, entry) FILTER (name = 'hours') AS hours,
        max(entry) FILTER (name IN ('finding', 'attributable')) AS entry
    FROM comeback_detail
    GROUP BY job, returned
)
SELECT
    c.id, c.job, c.returned,
    CASE WHEN s.complaint IS NULL THEN c.complaint ELSE nullif(s.complaint, '') END AS complaint,
    CASE WHEN s.finding IS NULL THEN c.finding ELSE nullif(s.finding, '') END AS finding,
    CASE WHEN s.attributable IS NULL THEN c.attributable ELSE nullif(s.attributable, '') END AS attributable,
    CASE WHEN s.hours IS NULL THEN c.hours ELSE TRY_CAST(nullif(s.hours, '') AS DOUBLE) END AS hours,
    c.entry AS opened_by_entry,
    coalesce(s.entry, c.entry) AS entry
FROM comeback AS c
LEFT JOIN said AS s USING (job, returned);
