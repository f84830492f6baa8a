"""Numbers and units: how they are written, spoken and changed into each other."""
