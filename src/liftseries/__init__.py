"""Outcomes of crestal sinus floor lifts with implants: from a study folder to depths, models and a report."""

__version__ = "0.1.0"
