"""What the trade talks about: units, readings, case-type sheets, jobs."""
