"""The sums of the bench for a job: packs, gears, fits, and what the log teaches them."""
