"""Who is in the study: rows set aside, missing values; the characteristics stand in `characteristics`."""

from __future__ import annotations

from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import WITHHELD, count, is_withheld, share_of
from liftseries.report.kit.tables.cells import Content, content_of
from liftseries.report.kit.words import Words
from liftseries.report.languages.say import say
from liftseries.study.oddities import oddity_rules

MOST_GROUPS = 6  # beside their names and All: eight columns


def set_aside_table(material: Material, words: Words) -> Content | None:
    """How many rows were refused, by table, column and rule."""
    refused = material.table("set_aside")
    if refused.empty:
        return None
    refused = refused.fillna({"column": ""}).drop_duplicates(["table", "file", "row", "column", "rule"])
    counts = refused.groupby(["table", "column", "rule"], sort=True).size()
    rows = [
        (table.capitalize(), words.column(column) if column else "", str(rule).replace("_", " "), count(n))
        for (table, column, rule), n in counts.items()
    ]
    return content_of(("Table", "Column", "Rule", "Rows"), rows, say("series.set_aside_note"))


def corrected_table(material: Material, words: Words) -> Content | None:
    """How many cells of each column were corrected, and by how many people; rows left out have no column."""
    counts = material.table("corrected").fillna({"table": "", "column": ""})
    counts = counts[counts["table"].ne("")]
    if counts.empty:
        return None
    rows = [
        (
            row.table.capitalize(),
            words.column(row.column) if row.column else say("series.whole_rows"),
            count(row.cells) if row.column else "",
            count(row.rows),
            count(row.people),
        )
        for row in counts.itertuples(index=False)
    ]
    return content_of(("Table", "Column", "Cells", "Rows", "People"), rows, say("series.corrected_note"))


def oddities_table(material: Material, words: Words) -> Content | None:
    """How many entries are possible but odd, by rule: what it looks for, why, how many the plan accepts."""
    listed = material.table("oddities")
    if listed.empty:
        return None
    found = {name: group["accepted"].astype(bool) for name, group in listed.groupby("rule", sort=False)}
    rules = oddity_rules()
    rows = [
        (rule.title.capitalize(), f"{rule.threshold[:1].upper()}{rule.threshold[1:]}.", rule.reason,
         count(len(found[name])), count(found[name].sum()) or "0")
        for name, rule in rules.items()
        if name in found
    ]  # fmt: skip
    note = say("series.oddities_note", silent=len(rules) - len(rows))
    return content_of(("Rule", "What is odd", "Why", "Entries", "Accepted"), rows, note)


def missing_table(material: Material, words: Words) -> Content | None:
    """Empty or `unknown` values by column and centre; columns without any are left out and counted."""
    table = material.table("missing")
    if table.empty:
        return None
    subsets = list(dict.fromkeys(table["subset"]))
    subsets = subsets if len(subsets) - 1 <= MOST_GROUPS else ["all"]
    cells = {(r.column, r.subset): r for r in table.itertuples(index=False)}
    columns = list(dict.fromkeys(table["column"]))
    with_gaps = [c for c in columns if any((c, s) in cells and cells[c, s].n_missing for s in subsets)]
    rows = [(words.column(column), *(_gap(cells.get((column, subset))) for subset in subsets)) for column in with_gaps]
    heads = ["All" if subset == "all" else words.subset(subset) for subset in subsets]
    note = say("series.missing_note", full=len(columns) - len(with_gaps))
    return content_of(("Measure", *heads), rows, note)


def _gap(cell) -> str:
    """Not recorded, of those where there was something to record; empty where there was nothing."""
    if cell is None:
        return ""
    if any(map(is_withheld, (cell.n, cell.n_missing, cell.n_not_applicable))):
        return WITHHELD
    n_moot = int(cell.n_not_applicable)
    return share_of(cell.n_missing - n_moot, cell.n - n_moot) if cell.n > n_moot else ""
