"""The first page."""

SENTENCES: dict[str, str] = {
    "limits": "Mind:",
}
