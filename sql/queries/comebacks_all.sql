-- One row per comeback.
SELECT job, returned, complaint, finding, attributable, hours FROM comeback ORDER BY entry, id
