"""Groups compared: two means, many groups, exact tests of counts, what goes along with a failure."""
