"""A series over time: limits, the tests of a chart, shifts and drifts."""
