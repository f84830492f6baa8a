"""From series of readings to findings."""
