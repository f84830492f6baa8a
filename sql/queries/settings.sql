-- One row per setting.
SELECT name, value FROM setting ORDER BY name
