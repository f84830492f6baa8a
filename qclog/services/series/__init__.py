"""One characteristic over many jobs: series, limits, charts, and where one unit stands."""
