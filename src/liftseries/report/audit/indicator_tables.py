"""Tables of the indicators: who counted, and how each is defined."""

from __future__ import annotations

from liftseries.report.audit.indicators import ALL, is_true, known, standard_words, strips_of, title, value_words
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, missing
from liftseries.report.kit.tables.cells import TRACE, Content, content_of
from liftseries.report.kit.words import Words, trace
from liftseries.report.languages.say import say

STATES = ("counted", "unknown", "not_applicable", "not_due")
METHOD_OF = {"implants": "corrected", "failures": "corrected", "cases": "counted"}


def strips_table(material: Material, words: Words, every_unit: bool) -> Content | None:
    """Counted, unknown, not applicable and not due of each indicator: of the series, or of every unit."""
    strips, by = strips_of(material), material.asked["audit"]["by"]
    if not every_unit:
        strips = strips[strips["unit"].eq(ALL)]
    rows, titles = [], {term: title(strips, term) for term in strips["indicator"].unique()}
    for _, row in strips.iterrows():
        subset = ALL if row["unit"] == ALL else f"{by}={row['unit']}"
        key = trace("audit.indicator", subset, row["indicator"], METHOD_OF.get(str(row["counts"]), "patients"))
        name = () if not every_unit else (say("audit.series_row") if row["unit"] == ALL else str(row["unit"]),)
        enough = say("audit.yes" if is_true(row["enough"]) else "audit.no")
        rows.append(
            (
                titles[row["indicator"]],
                *name,
                value_words(row) or "–",
                *(count(row[state]) for state in STATES),
                enough,
                key,
            )
        )
    heads = [say("audit.head_indicator"), *([words.column(by)] if every_unit else []), say("audit.head_value")]
    heads += [say(f"audit.head_{state}") for state in STATES] + [say("audit.head_enough"), TRACE]
    return content_of(heads, rows, say("audit.strips_note"))


def definitions_table(material: Material, words: Words) -> Content | None:
    """What each indicator counts, which way is good, and its standard with kind, source and date."""
    strips = strips_of(material)
    first = strips.drop_duplicates("indicator")
    rows, seen = [], set()
    for _, row in first.iterrows():
        name = str(row["indicator"]).partition(" at ")[0]
        if name in seen:
            continue
        seen.add(name)
        indicator = known(material.asked["audit"]).get(name)
        standard = say("audit.none_set")
        if not missing(row["standard"]):
            standard = standard_words(row)
        where = [
            str(row[key]) for key in ("standard_kind", "standard_source", "standard_date") if not missing(row[key])
        ]
        rows.append(
            (
                title(strips, name),
                indicator.means if indicator else "",
                say(f"audit.good_{row['good']}"),
                standard,
                "" if missing(row["standard"]) else ", ".join(where),
            )
        )
    heads = ("indicator", "means", "good", "standard", "source")
    return content_of([say(f"audit.head_{name}") for name in heads], rows)
