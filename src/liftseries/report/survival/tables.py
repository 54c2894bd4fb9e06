"""Survival at the months of the plan, numbers at risk, the few failures one by one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from liftseries.base.remarks import names_in
from liftseries.report.kit.material import Material
from liftseries.report.kit.method import made_by
from liftseries.report.kit.numbers import WITHHELD, count, decimal, missing
from liftseries.report.kit.tables.cells import TRACE, Content, content_of
from liftseries.report.kit.words import Words, trace_of
from liftseries.report.languages.say import say
from liftseries.report.survival.sentences import BOUND, may_be_set_side_by_side, share_words

MOST_MONTHS = 4  # beside the other columns: more than eight do not fit a page
NOT_QUOTED = "–"


def survival_table(material: Material, words: Words) -> Content | None:
    """Quoted survival: a subset a row, a month a column; only where there are failures enough to compare."""
    if not may_be_set_side_by_side(material):
        return None
    km = material.rows("survival.km")
    km = km[made_by(km, "corrected")]
    shown = [_quoted(row) not in ("", NOT_QUOTED) for _, row in km.iterrows()]
    months = spread(list(dict.fromkeys(km.loc[shown, "term"])), MOST_MONTHS)
    if not months:
        return None
    rows = []
    for subset, of_subset in km.groupby("subset", sort=False):
        of_month = {row["term"]: row for _, row in of_subset.iterrows() if row["term"] in months}
        cells = [_quoted(of_month[month]) if month in of_month else NOT_QUOTED for month in months]
        if set(cells) == {NOT_QUOTED}:
            continue
        rows.append((implants(subset, words), *_counts(of_subset.iloc[0]), *cells, keys(of_month, cells, months)))
    cells = {cell for row in rows for cell in row[4:-1]}
    quoted = km[km["headline"].eq(True) & km["estimate"].notna()]
    bound = any(BOUND in names_in(note) for note in quoted["note"])
    note = " ".join(
        [
            say("survival.survival_note"),
            *([say("survival.bound_note")] if bound else []),
            *([say("survival.dash_note")] if NOT_QUOTED in cells else []),
        ]
    )
    heads = ("Implants", "Number", "Patients", "Failures in all", *(f"{month} months" for month in months), TRACE)
    return content_of(heads, rows, note)


def spread(months: Sequence, most: int) -> list:
    """The months, or as many as fit, the first and the last among them."""
    n = len(months)
    if n <= most:
        return list(months)
    return [months[round(k * (n - 1) / (most - 1))] for k in range(most)]


def keys(of_month: Mapping[str, pd.Series], cells: Sequence[str], months: Sequence[str]) -> str:
    """The rows of results.csv behind the cells that hold a number."""
    told = zip(months, cells, strict=True)
    return "; ".join(trace_of(of_month[month]) for month, cell in told if cell not in ("", NOT_QUOTED))


def _counts(row) -> tuple[str, str, str]:
    return count(row["n_sites"]), count(row["n_patients"]), count(row["n_events"])


def _quoted(row) -> str:
    """Survival at a month where it is quoted."""
    if row["problem"] == WITHHELD:
        return WITHHELD
    return (share_words(row) if row["headline"] else "") or NOT_QUOTED


def implants(subset: str, words: Words) -> str:
    """The implants of a subset: `All implants`, `Protocol: B`."""
    return "All implants" if subset == "all" else words.subset(subset)


def numbers_at_risk_table(material: Material, words: Words) -> Content | None:
    """At risk, failed and censored: a subset a row, placement and the plan's months as columns."""
    table = material.table("survival_at_risk")
    asked = {0.0, *(float(month) for month in material.asked["survival_months"])}
    months = spread(sorted(asked & set(table["months"])), 7)
    if not months:
        return None
    subsets = list(dict.fromkeys(table["subset"])) if may_be_set_side_by_side(material) else ["all"]
    alone = bool(table[["n_failed", "n_censored"]].isna().all(axis=None))
    shown = ["n_at_risk"] if alone else ["n_at_risk", "n_failed", "n_censored"]
    cells = {(row["subset"], row["months"]): " / ".join(map(count, row[shown])) for _, row in table.iterrows()}
    rows = [
        (implants(subset, words), *(cells.get((subset, month), NOT_QUOTED) for month in months)) for subset in subsets
    ]
    return content_of(
        ("Implants", *(f"Month {month:g}" for month in months)),
        rows,
        say("survival.at_risk_alone_note" if alone else "survival.at_risk_note"),
    )


def failed_implants_table(material: Material, words: Words) -> Content | None:
    """The failed implants one by one, where there are too few of them for a ratio."""
    rows = [
        (
            str(number),
            decimal(failed["months"], 0),
            "not recorded" if missing(failed["rbh_mid_mm"]) else decimal(failed["rbh_mid_mm"], 1),
            "not recorded" if missing(failed["smoking"]) else str(failed["smoking"]).replace("_", " "),
        )
        for number, (_, failed) in enumerate(material.table("failed_implants").iterrows(), start=1)
    ]
    return content_of(("Failure", "Month found", "Residual bone height, mm", "Smoking"), rows)
