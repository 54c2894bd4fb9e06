"""The first page."""

SENTENCES: dict[str, str] = {
    "sure": "How sure: {sure}.",
    "limits": "Three limits to keep in mind:",
}
