"""The first page."""

SENTENCES: dict[str, str] = {
    "sure": "How sure: {sure}.",
    "lacking": "Not answered by this series: {questions:and}. The last section says why.",
    "limits": "Three limits to keep in mind:",
}
