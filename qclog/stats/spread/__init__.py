"""How one kind of reading is spread: shapes, percentiles, tolerance intervals, capability, outliers."""
