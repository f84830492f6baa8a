-- At most one row: the number of the entry that a submission was stored as.
SELECT entry FROM entry WHERE submission = $submission
