"""The statistics: pure functions in, frozen results out."""
