"""Writes what is made from the schemas: Table Schemas, Data Package, dictionary, the plan's JSON Schema and key table.

    python schemas/generate.py

A test fails while one of them is stale.
"""

from pathlib import Path

from liftseries.base.outputs import write_text
from liftseries.forms.data_package import as_json, data_package, table_schema
from liftseries.forms.dictionary import dictionary_html, dictionary_markdown
from liftseries.forms.plan_keys import json_schema, key_table
from liftseries.study.schema import derived_schema, read_schema

ROOT = Path(__file__).resolve().parents[1]
BEGIN, END = "<!-- plan keys: made by schemas/generate.py -->", "<!-- end of plan keys -->"


def generated() -> dict[Path, str]:
    """Path -> text of every generated file."""
    schema = read_schema()
    folder = ROOT / "schemas" / "generated"
    files = {folder / f"{name}.schema.json": as_json(table_schema(table, schema)) for name, table in schema.items()}
    package = data_package(schema, {name: f"{name}.csv" for name in schema}, "liftseries")
    files[folder / "datapackage.json"] = as_json(package)
    files[folder / "dictionary.html"] = dictionary_html(schema, derived_schema())
    files[folder / "dictionary.md"] = dictionary_markdown(schema, derived_schema())
    files[folder / "plan.schema.json"] = json_schema()
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    if BEGIN in readme and END in readme:
        before, after = readme.split(BEGIN)[0], readme.split(END)[1]
        files[ROOT / "README.md"] = f"{before}{BEGIN}\n{key_table()}{END}{after}"
    return files


if __name__ == "__main__":
    for path, text in generated().items():
        write_text(path, text)
