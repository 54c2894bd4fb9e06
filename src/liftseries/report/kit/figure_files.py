"""Which figure belongs to which chapter, and the files each is written as."""

FIGURES = {
    "series": ("flow", "residual_height"),
    "depth": ("planned_achieved", "deviations", "ladder_case"),
    "perforation": ("perforation_by_height", "perforation_odds", "risk_curves"),
    "survival": (
        "survival",
        "survival_between_visits",
        "survival_by_height",
        "competing_risks",
        "hazard_ratios",
        "proportional_hazards",
    ),
    "gain": ("gain_by_visit", "gain_terms"),
}
FORMATS = ("svg", "pdf", "png")


def figure_files(*chapters: str) -> list[str]:
    """Paths of a chapter's figures within the output folder; of all chapters where none is named."""
    named = chapters or tuple(FIGURES)
    return [f"figures/{name}.{form}" for chapter in named for name in FIGURES[chapter] for form in FORMATS]
