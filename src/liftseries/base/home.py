"""Where the workflow, the schemas and the report's templates lie.

Inside the package when it was installed from a wheel; at the root of the checkout otherwise.
"""

from pathlib import Path

PACKAGE = Path(__file__).parents[1]


def folder(name: str) -> Path:
    """`workflow`, `schemas` or `reports`."""
    inside = PACKAGE / name
    # src/liftseries/report is a room of the package, reports/ holds templates: only the latter travels.
    return inside if inside.is_dir() else PACKAGE.parents[1] / name
