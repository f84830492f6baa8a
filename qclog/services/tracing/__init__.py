"""From a failed unit to its readings, parts, gauges and sister units."""
