"""What is said at the bench, understood: readings, amounts, doubts, scanned codes."""
