"""Folders and files in and out."""
