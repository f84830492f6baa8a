"""What every statistic rests on: its gate, series, intervals, quadrature, constants, plain summaries."""
