"""A study folder to start from: the plan with every key explained, empty tables, the data dictionary."""

from __future__ import annotations

from pathlib import Path

from liftseries.errors import UsageError
from liftseries.intake.dictionary import dictionary_html
from liftseries.intake.dictionary_docx import write_dictionary_docx
from liftseries.intake.plan_keys import commented_plan
from liftseries.outputs import write_text
from liftseries.plan import PLAN_FILE
from liftseries.schema import read_schema


def new_study(folder: Path | str) -> None:
    """Makes the folder, or fills an empty one.

    Raises
    ------
    UsageError
        The folder holds something, or cannot be made.
    """
    folder, schema = Path(folder), read_schema()
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError(f"{folder} is there already and not an empty folder. Name another one.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(f"{folder} cannot be made: {error.strerror}. Name another one.") from None
    for name, table in schema.items():
        write_text(folder / f"{name}.csv", ",".join(table.columns) + "\n")
    write_text(folder / PLAN_FILE, commented_plan({name: f"{name}.csv" for name in schema}))
    write_text(folder / "dictionary.html", dictionary_html(schema))
    write_dictionary_docx(schema, folder / "dictionary.docx")
