"""The data dictionary: every column of every table in words for the user, as an HTML page and as Markdown.

The same words stand in the dictionary's DOCX and in the notes of the entry workbook.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from html import escape

from liftseries.base.numbers import plain
from liftseries.study.schema import Column, Table

TITLE = "Data dictionary"
LEAD = (
    "What each table of a study folder holds. A file may be CSV (UTF-8, comma or semicolon, decimal point or "
    "comma), a sheet of a workbook or Parquet. An empty cell is a missing value; letter case and blanks around "
    "a level do not matter, and a true/false cell stands for yes/no. Depths run along the drilling axis, "
    "positive into bone, zero at the crest."
)
HEADINGS = ("Column", "Holds", "Needed", "Means", "How it is measured", "Example", "Could point at a person")
WORDS = {"text": "text", "category": "text", "integer": "whole number", "number": "number"}
IDENTIFIES = {"direct": "by itself", "quasi": "together with other columns"}
STYLE = """
:root {
  color-scheme: light dark;
  --ink: #1d2730; --paper: #fdfdfb; --line: #c9d0d4; --band: #eef3f2; --link: #0b5a6b;
}
@media (prefers-color-scheme: dark) {
  :root { --ink: #e4e9ea; --paper: #171c1f; --line: #454f54; --band: #20292b; --link: #7fcfe0; }
}
body { margin: 2rem auto; max-width: 76rem; padding: 0 1rem; color: var(--ink); background: var(--paper);
  font: 1rem/1.5 system-ui, sans-serif; }
a { color: var(--link); }
nav ul { display: flex; flex-wrap: wrap; gap: 0.3rem 1.2rem; padding: 0; list-style: none; }
h2 { margin: 2.2rem 0 0.2rem; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; }
th, td { padding: 0.4rem 0.6rem; border-bottom: 1px solid var(--line);
  text-align: left; vertical-align: top; }
thead th { background: var(--band); }
tbody th { font-weight: 600; }
code { font-size: 0.92em; overflow-wrap: anywhere; }
.title { display: block; font-weight: 400; }
@media print { nav { display: none; } tr { break-inside: avoid; } }
""".strip()


@dataclass(frozen=True)
class Entry:
    """One line of the dictionary, in words."""

    name: str
    title: str
    holds: str
    needed: str
    means: str
    measured: str
    example: str
    identifying: str

    @property
    def cells(self) -> tuple[str, ...]:
        """What stands beside the name, in the order of `HEADINGS`."""
        return self.holds, self.needed, self.means, self.measured, self.example, self.identifying


def entries(table: Table) -> list[Entry]:
    """The lines of one table."""
    return [
        Entry(
            name,
            column.title,
            _holds(table, column),
            _needed(column),
            column.means,
            column.measured,
            str(column.example),
            _identifying(column),
        )
        for name, column in table.columns.items()
    ]


def about(table: Table) -> str:
    """What a table holds, its key, and whether a study may do without it."""
    missing = " The whole table may be missing." if table.may_be_missing else ""
    return f"{table.means} Key: {' and '.join(table.key)}.{missing}"


def dictionary_markdown(schema: Mapping[str, Table]) -> str:
    """The dictionary as Markdown text."""
    lines = [f"# {TITLE}", "", LEAD]
    for table in schema.values():
        lines += ["", f"## {table.title} (`{table.name}`)", "", about(table), ""]
        lines += [f"| {' | '.join(HEADINGS)} |", f"|{'---|' * len(HEADINGS)}"]
        for entry in entries(table):
            cells = (f"`{entry.name}`", *entry.cells)
            lines.append(f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |")
        lines += [line for rule in table.rules for line in ("", f"Checked in every row: `{rule.holds}`.")]
    return "\n".join(lines) + "\n"


def dictionary_html(schema: Mapping[str, Table]) -> str:
    """The dictionary as one page that opens offline."""
    links = "".join(f'<li><a href="#{name}">{escape(table.title)}</a></li>' for name, table in schema.items())
    return "\n".join(
        [
            "<!doctype html>",
            '<html lang="en">',
            f'<head><meta charset="utf-8"><title>{TITLE}</title>',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<style>\n{STYLE}\n</style></head>",
            f"<body><header><h1>{TITLE}</h1><p>{escape(LEAD)}</p></header>",
            f'<nav aria-label="Tables"><ul>{links}</ul></nav>',
            "<main>",
            *(_section(table) for table in schema.values()),
            "</main></body></html>",
            "",
        ]
    )


def _section(table: Table) -> str:
    headings = "".join(f'<th scope="col">{heading}</th>' for heading in HEADINGS)
    rows = "\n".join(
        f'<tr><th scope="row"><code>{entry.name}</code> <span class="title">{escape(entry.title)}</span></th>'
        + "".join(f"<td>{escape(cell)}</td>" for cell in entry.cells)
        + "</tr>"
        for entry in entries(table)
    )
    rules = "".join(f"<p>Checked in every row: <code>{escape(rule.holds)}</code>.</p>" for rule in table.rules)
    return (
        f'<section aria-labelledby="{table.name}"><h2 id="{table.name}">{escape(table.title)} '
        f"(<code>{table.name}</code>)</h2><p>{escape(about(table))}</p>\n"
        f'<div class="wide" role="region" tabindex="0" aria-labelledby="{table.name}"><table>\n'
        f"<thead><tr>{headings}</tr></thead>\n<tbody>\n{rows}\n</tbody></table></div>{rules}</section>"
    )


def _holds(table: Table, column: Column) -> str:
    words = ["one of " + ", ".join(map(str, column.levels)) if column.levels else WORDS[column.type]]
    if column.reference:
        words.append(f"models compare with {column.reference}")
    if column.unit:
        words.append(column.unit)
    if column.above is not None:
        words.append(f"above {plain(column.above)}")
    if column.at_least is not None and column.at_most is not None:
        words.append(f"{plain(column.at_least)} to {plain(column.at_most)}")
    elif column.at_least is not None:
        words.append(f"{plain(column.at_least)} or more")
    elif column.at_most is not None:
        words.append(f"up to {plain(column.at_most)}")
    if column.name in table.references:
        words.append(f"a row of {table.references[column.name]}")
    return "; ".join(words)


def _needed(column: Column) -> str:
    needed = column.condition or ("always" if column.required else "no")
    if column.when_empty:
        needed += f"; empty means {column.when_empty}"
    return f"{needed}; applies where {in_words(column.applies_when)}" if column.applies_when else needed


def in_words(expression: str) -> str:
    """`graft is not none` of `graft != "none"`."""
    return expression.replace("==", "is").replace("!=", "is not").replace('"', "")


def _identifying(column: Column) -> str:
    return f"{IDENTIFIES[column.identifies]}: {column.known_from}".rstrip(": ") if column.identifies else ""
