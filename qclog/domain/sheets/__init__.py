"""The sheet of a case type: characteristics, places, formulas, sums, and their checks."""
