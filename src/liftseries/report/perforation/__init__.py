"""The chapter on the membrane."""
