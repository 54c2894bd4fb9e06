"""Writes what is made from declarations: Table Schemas, Data Package, dictionary, oddities, README's parts.

    python schemas/generate.py

A test fails while one of them is stale.
"""

from pathlib import Path

from liftseries.base.outputs import write_text
from liftseries.forms.data_package import as_json, data_package, table_schema
from liftseries.forms.dictionary import dictionary_html, dictionary_markdown
from liftseries.forms.plan_keys import json_schema, key_table
from liftseries.models.questions import QUESTIONS
from liftseries.study.oddities import oddity_rules
from liftseries.study.schema import audit_schema, derived_schema, read_schema

ROOT = Path(__file__).resolve().parents[1]
MARKS = "<!-- {}: made by schemas/generate.py -->", "<!-- end of {} -->"


def generated() -> dict[Path, str]:
    """Path -> text of every generated file."""
    schema, every = read_schema(), {**read_schema(), **audit_schema()}
    folder = ROOT / "schemas" / "generated"
    files = {folder / f"{name}.schema.json": as_json(table_schema(table, every)) for name, table in every.items()}
    package = data_package(schema, {name: f"{name}.csv" for name in schema}, "liftseries")
    files[folder / "datapackage.json"] = as_json(package)
    files[folder / "dictionary.html"] = dictionary_html(every, derived_schema())
    files[folder / "dictionary.md"] = dictionary_markdown(every, derived_schema())
    files[folder / "oddities.md"] = oddity_table()
    files[folder / "plan.schema.json"] = json_schema()
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for part, text in (("plan keys", key_table()), ("analyses", analysis_table()), ("deviations", deviation_table())):
        begin, end = (mark.format(part) for mark in MARKS)
        before, _, rest = readme.partition(begin)
        readme = f"{before}{begin}\n{text}{end}{rest.partition(end)[2]}"
    files[ROOT / "README.md"] = readme
    return files


def analysis_table() -> str:
    """The analyses of results.csv, a question a line, as a Markdown table; what may be the headline in bold."""
    lines = ["| in results.csv | what | methods, the headline in bold |", "|---|---|---|"]
    for question in (question for question in QUESTIONS if question.analyses):
        first, *more = [analysis.name for analysis in question.analyses]
        names = ", ".join([f"`{first}`", *(f"`.{name.partition('.')[2]}`" for name in more)])
        means = "; ".join(analysis.means for analysis in question.analyses)
        methods = dict.fromkeys(code for analysis in question.analyses for code in analysis.methods)
        headline = {code for analysis in question.analyses for code in analysis.headline}
        codes = [f"**`{code}`**" if code in headline else f"`{code}`" for code in methods]
        lines.append(f"| {names} | {means} | {', '.join(codes)} |")
    return "\n".join(lines) + "\n"


def deviation_table() -> str:
    """The deviations from the drilling plan, in words, as a Markdown table."""
    lines = ["| deviation | what happened | judged from |", "|---|---|---|"]
    for name, column in derived_schema()["sites"].columns.items():
        if column.is_deviation:
            lines.append(f"| {column.title} (`{name}`) | {column.means} | {column.judged_from} |")
    return "\n".join(lines) + "\n"


def oddity_table() -> str:
    """The rules of oddities, as a Markdown page."""
    lines = ["# What is possible but odd", "", "Made by schemas/generate.py from schemas/oddities.yaml.", ""]
    lines += ["| rule | told in | what is odd | why | limits from |", "|---|---|---|---|---|"]
    for name, rule in oddity_rules().items():
        place = ", ".join(filter(None, (rule.table, rule.column))) or "each measured column"
        lines.append(f"| `{name}` | {place} | {rule.threshold} | {rule.reason} | {rule.source} |")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    for path, text in generated().items():
        write_text(path, text)
