-- Entry numbers with a gap before them.
SELECT entry FROM (SELECT entry, lag(entry, 1, 0) OVER (ORDER BY entry) AS before FROM entry)
WHERE entry <> before + 1
