-- Rows that name a person, gauge, job, reading, shim size or entry which is not in the log: what foreign keys would
-- hold, which the file goes without.
WITH named AS (
    SELECT 'gauge_check' AS of_table, 'gauge' AS what, gauge AS name, entry FROM gauge_check
    UNION ALL SELECT 'job_detail', 'job', job, entry FROM job_detail
    UNION ALL SELECT 'part', 'job', job, entry FROM part
    UNION ALL SELECT 'part', 'job', sub_assembly, entry FROM part
    UNION ALL SELECT 'comeback', 'job', job, entry FROM comeback
    UNION ALL SELECT 'shim_movement', 'job', job, entry FROM shim_movement
    UNION ALL SELECT 'shim_movement', 'person', person, entry FROM shim_movement
    UNION ALL SELECT 'strike', 'person', person, entry FROM strike
    UNION ALL SELECT 'person_detail', 'person', person, entry FROM person_detail
    UNION ALL SELECT 'sign_on', 'person', person, entry FROM sign_on
    UNION ALL SELECT 'gauge_detail', 'gauge', gauge, entry FROM gauge_detail
    UNION ALL SELECT 'comeback_detail', 'job', job, entry FROM comeback_detail
    UNION ALL SELECT 'sign_off', 'job', job, entry FROM sign_off
    UNION ALL SELECT 'reading', 'job', job, entry FROM reading
    UNION ALL SELECT 'reading', 'person', technician, entry FROM reading
    UNION ALL SELECT 'reading', 'gauge', gauge, entry FROM reading
),
there AS (
    SELECT 'gauge' AS what, gauge AS name FROM gauge
    UNION ALL SELECT 'job', job FROM job
    UNION ALL SELECT 'person', person FROM person
),
entries AS (
    SELECT 'person' AS of_table, entry FROM person
    UNION ALL SELECT 'gauge', entry FROM gauge
    UNION ALL SELECT 'sheet', entry FROM sheet
    UNION ALL SELECT 'job', entry FROM job
    UNION ALL SELECT 'strike', entry FROM strike
    UNION ALL SELECT 'shim_size', entry FROM shim_size
    UNION ALL SELECT 'shim_minimum', entry FROM shim_minimum
    UNION ALL SELECT 'finding_note', entry FROM finding_note
    UNION ALL SELECT 'change', entry FROM change
    UNION ALL SELECT 'house_detail', entry FROM house_detail
    UNION ALL SELECT of_table, entry FROM named
)
SELECT of_table, what, name, entry FROM named ANTI JOIN there USING (what, name) WHERE name IS NOT NULL
UNION ALL
SELECT 'strike', 'reading', s.reading::VARCHAR, s.entry FROM strike AS s ANTI JOIN reading AS r ON r.id = s.reading
UNION ALL
SELECT 'shim_movement', 'shim size', concat_ws(' ', stock_set, nominal, measured), entry
FROM shim_movement ANTI JOIN shim_size USING (stock_set, nominal, measured)
UNION ALL
SELECT 'comeback_detail', 'comeback', concat_ws(' ', job, returned), entry
FROM comeback_detail ANTI JOIN comeback USING (job, returned)
UNION ALL
SELECT DISTINCT of_table, 'entry', entry::VARCHAR, entry FROM entries ANTI JOIN entry USING (entry)
