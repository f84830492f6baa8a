-- One row per comeback, as it stands.
SELECT job, returned, complaint, finding, attributable, hours FROM comeback_now ORDER BY opened_by_entry, id
