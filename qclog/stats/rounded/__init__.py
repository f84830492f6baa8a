"""Readings that are brackets or coarse: fits, likelihoods, and what a coarse step does to them."""
