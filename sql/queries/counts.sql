-- One row: how much there is.
SELECT
    (SELECT count(*) FROM reading) AS readings,
    (SELECT count(*) FROM job) AS jobs,
    (SELECT count(*) FROM gauge) AS gauges,
    (SELECT count(*) FROM person) AS people,
    (SELECT count(*) FROM comeback) AS comebacks,
    (SELECT count(DISTINCT case_type) FROM sheet) AS case_types
