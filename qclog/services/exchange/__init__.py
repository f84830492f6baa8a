"""Folders in and out, Parquet copies, and the tour of the sample workshop."""
