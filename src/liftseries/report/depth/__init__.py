"""The chapter on how deep was drilled."""
