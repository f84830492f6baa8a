"""What comes back, and when: rates, survival, Weibull."""
