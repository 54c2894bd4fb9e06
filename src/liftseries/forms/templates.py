"""A study folder to start from: the plan with every key explained, tables to fill in, what describes them."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from liftseries.base.errors import UsageError
from liftseries.base.outputs import write_text
from liftseries.forms.data_package import as_json, data_package
from liftseries.forms.dictionary import dictionary_html
from liftseries.forms.dictionary_docx import write_dictionary_docx
from liftseries.forms.plan_keys import commented_plan
from liftseries.study.plan_files import PLAN_FILE
from liftseries.study.schema import read_schema

WORKBOOK = "cases.xlsx"


def new_study(folder: Path | str, workbook: bool = False, extra_columns: Mapping[str, Mapping] | None = None) -> None:
    """Makes the folder, or fills an empty one.

    Parameters
    ----------
    folder
    workbook
        Whether the tables are sheets of one workbook to type into, rather than a CSV each.
    extra_columns : table -> column -> entry
        The study's own columns, as `extra_columns` of a study.yaml.

    Raises
    ------
    UsageError
        The folder holds something, or cannot be made.
    """
    folder, schema = Path(folder), read_schema(extra_columns)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError(f"{folder} is there already and not an empty folder. Name another one.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(f"{folder} cannot be made: {error.strerror}. Name another one.") from None
    if workbook:
        from liftseries.forms.entry_workbook import write_entry_workbook

        files = {name: f"{WORKBOOK}#{name}" for name in schema}
        write_entry_workbook(schema, folder / WORKBOOK)
    else:
        files = {name: f"{name}.csv" for name in schema}
        for name, table in schema.items():
            write_text(folder / files[name], ",".join(table.columns) + "\n")
    write_text(folder / PLAN_FILE, commented_plan(files, extra_columns))
    write_text(folder / "datapackage.json", as_json(data_package(schema, files, "study")))
    write_text(folder / "dictionary.html", dictionary_html(schema))
    write_dictionary_docx(schema, folder / "dictionary.docx")
