-- One row per thing the house set for itself, as it stands now: a code and its words, a rate and its amount.
SELECT name, code, arg_max(value, entry) AS value FROM house_detail GROUP BY name, code ORDER BY name, code
