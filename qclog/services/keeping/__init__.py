"""What the workshop keeps: rights, people, sheets, changes, stock; and the log itself: verified, backed up, opened."""
