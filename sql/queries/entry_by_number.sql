-- At most one row: who made an entry, when, by what way, for what.
SELECT entry, entered_at, entered_by, via, what FROM entry WHERE entry = $entry
