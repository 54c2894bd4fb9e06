"""The data dictionary: every column of every table in words for the user, as an HTML page and as Markdown.

The same words stand in the dictionary's DOCX and in the notes of the entry workbook. What a run works out of the tables
(`derived_schema`) can follow in sections of its own; nobody enters it, so what goes with a form to fill in lacks them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape

from liftseries.base.numbers import plain
from liftseries.study.schema import Column, DerivedColumn, Table

TITLE = "Data dictionary"
LEAD = (
    "What each table of a study folder holds. A file may be CSV (UTF-8, comma or semicolon, decimal point or "
    "comma), a sheet of a workbook or Parquet. An empty cell is a missing value; letter case and blanks around "
    "a level do not matter, and a true/false cell stands for yes/no. Depths run along the drilling axis, "
    "positive into bone, zero at the crest."
)
HEADINGS = ("Column", "Holds", "Needed", "Means", "How it is measured", "Example", "Could point at a person")
DERIVED_HEADINGS = ("Column", "Holds", "Means", "How it is worked out", "An empty cell means", "Term of a model")
WORDS = {
    "text": "text", "category": "text", "integer": "whole number", "number": "number", "true_false": "true or false",
    "date": "day or month, 2025-06-30 or 2025-06",
}  # fmt: skip
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


@dataclass(frozen=True)
class Section:
    """One table of the dictionary: heading, what it is, and a line a column (name, title, the cells beside it)."""

    anchor: str
    title: str
    name: str  # of the table as study.yaml has it; empty where nobody hands it in
    about: str
    headings: Sequence[str]
    lines: Sequence[tuple[str, str, tuple[str, ...]]]
    checks: Sequence[str] = ()


def sections(schema: Mapping[str, Table], derived: Mapping[str, Table] | None = None) -> list[Section]:
    """The tables that are handed in, and what a run works out of them."""
    handed_in = [
        Section(
            anchor=name,
            title=table.title,
            name=name,
            about=about(table),
            headings=HEADINGS,
            lines=[(entry.name, entry.title, entry.cells) for entry in entries(table)],
            checks=[rule.holds for rule in table.rules],
        )
        for name, table in schema.items()
    ]
    worked_out = [
        Section(
            anchor=f"derived_{name}",
            title=table.title,
            name="",
            about=about(table),
            headings=DERIVED_HEADINGS,
            lines=[(each.name, each.title, derived_cells(table, each)) for each in table.columns.values()],
        )
        for name, table in (derived or {}).items()
    ]
    return handed_in + worked_out


def derived_cells(table: Table, column: DerivedColumn) -> tuple[str, ...]:
    """What stands beside the name of a column that is worked out, in the order of `DERIVED_HEADINGS`."""
    holds = _holds(table, column) + ("; a deviation" if column.is_deviation else "")
    measured = column.measured
    if column.judged_from:
        measured += f"; judged from {column.judged_from}"
    if column.cannot_occur:
        measured += f"; never true where {column.cannot_occur.replace('=', ' is ')}"
    return holds, column.means, measured, column.when_empty, "may be one" if column.may_be_term else "no"


def dictionary_markdown(schema: Mapping[str, Table], derived: Mapping[str, Table] | None = None) -> str:
    """The dictionary as Markdown text."""
    lines = [f"# {TITLE}", "", LEAD]
    for section in sections(schema, derived):
        name = f" (`{section.name}`)" if section.name else ""
        lines += ["", f"## {section.title}{name}", "", section.about, ""]
        lines += [f"| {' | '.join(section.headings)} |", f"|{'---|' * len(section.headings)}"]
        for column, _, beside in section.lines:
            cells = (f"`{column}`", *beside)
            lines.append(f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |")
        lines += [line for check in section.checks for line in ("", f"Checked in every row: `{check}`.")]
    return "\n".join(lines) + "\n"


def dictionary_html(schema: Mapping[str, Table], derived: Mapping[str, Table] | None = None) -> str:
    """The dictionary as one page that opens offline."""
    told = sections(schema, derived)
    links = "".join(f'<li><a href="#{section.anchor}">{escape(section.title)}</a></li>' for section in told)
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
            *(_html(section) for section in told),
            "</main></body></html>",
            "",
        ]
    )


def _html(section: Section) -> str:
    headings = "".join(f'<th scope="col">{heading}</th>' for heading in section.headings)
    rows = "\n".join(
        f'<tr><th scope="row"><code>{column}</code> <span class="title">{escape(title)}</span></th>'
        + "".join(f"<td>{escape(cell)}</td>" for cell in cells)
        + "</tr>"
        for column, title, cells in section.lines
    )
    name = f" (<code>{section.name}</code>)" if section.name else ""
    checks = "".join(f"<p>Checked in every row: <code>{escape(check)}</code>.</p>" for check in section.checks)
    return (
        f'<section aria-labelledby="{section.anchor}"><h2 id="{section.anchor}">{escape(section.title)}{name}</h2>'
        f"<p>{escape(section.about)}</p>\n"
        f'<div class="wide" role="region" tabindex="0" aria-labelledby="{section.anchor}"><table>\n'
        f"<thead><tr>{headings}</tr></thead>\n<tbody>\n{rows}\n</tbody></table></div>{checks}</section>"
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
