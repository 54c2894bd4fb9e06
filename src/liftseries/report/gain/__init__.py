"""The chapter on bone gain."""
