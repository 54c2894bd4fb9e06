"""Corrected cells, laid over the files that stay as they were sent."""
