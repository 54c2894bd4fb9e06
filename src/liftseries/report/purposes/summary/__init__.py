"""A report of one chapter: how deep was drilled."""
