"""The chapter on what could change the answers."""
