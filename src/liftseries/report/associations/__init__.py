"""The chapter on what goes with perforation, failure and bone gain: adjusted associations in one table."""
