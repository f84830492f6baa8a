"""Results and charts to paper."""
