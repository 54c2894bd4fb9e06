"""Estimates in, figures, tables and pages out; works out nothing new."""
