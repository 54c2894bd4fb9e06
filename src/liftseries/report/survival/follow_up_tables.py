"""Tables of follow-up and of complications."""

from __future__ import annotations

import pandas as pd

from liftseries.base.remarks import WITHHELD
from liftseries.models.survival.time_observed import EARLY_MONTHS
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import count, is_withheld, missing, out_of, percent, share_of
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, estimate
from liftseries.report.kit.words import Words, trace_of
from liftseries.report.languages.say import say

ANY, OTHER = "any", "other"
MOST_COLUMNS = 8


def completeness_table(material: Material, words: Words) -> Content | None:
    """Implants due, known, lost and not yet due at each planned month at which any was due."""
    found = {float(row["term"]): row for _, row in material.rows("followup.completeness").iterrows()}
    rows = []
    for _, at in material.table("followup_by_month").iterrows():
        row = found.get(float(at["months"]))
        if row is None or (not is_withheld(at["n_due"]) and not at["n_due"]):
            continue
        counts = (count(at[name]) for name in ("n_ended", "n_lost", "n_never_seen", "n_not_yet_due"))
        known = f"{count(at['n_seen'])}, {estimate(row)}"
        rows.append((f"{at['months']:g}", count(at["n_due"]), known, *counts, trace_of(row)))
    heads = ("Month", "Implants due", "Known (95% interval)", "Failed or died", "Lost to follow-up", "Never seen")
    return content_of((*heads, "Not yet due", TRACE), rows, say("survival.follow_up_note"))


def complications_table(material: Material, words: Words) -> Content | None:
    """Patients with each kind of complication, by protocol; sites and the first year beside them, as far as they fit.

    A kind that never occurred is named below it; where none occurred at all, each is a row.
    """
    rates = material.rows("complications.rate")
    if rates.empty or rates["estimate"].isna().all():
        return None
    cells = {(row["subset"], row["term"], row["method"]): row for _, row in rates.iterrows()}
    for _, row in material.rows("complications.first_year", "all").iterrows():
        cells[("first year", row["term"], row["method"])] = row
    kinds = list(dict.fromkeys(rates["term"]))
    never = [kind for kind in kinds if _never(cells.get(("all", kind, "patients")))]
    never = [] if len(never) == len(kinds) else never
    whole, *others = _columns(list(dict.fromkeys(rates["subset"])))
    told = [one for one in others if any(_is_told(cells.get((one[1], kind, one[2])), one[2]) for kind in kinds)]
    columns = [whole, *told]
    rows = []
    for kind in kinds:
        if kind not in never:
            shown = [cells.get((subset, kind, method)) for _, subset, method in columns]
            keys = "; ".join(trace_of(row) for row in shown if row is not None)
            rows.append((_kind(kind).capitalize(), _whole(shown[0]), *map(_share, shown[1:], columns[1:]), keys))
    heads = [name or words.subset(subset) for name, subset, _ in columns]
    note = [say("survival.complications_note"), *_named_below(never, cells)]
    holds = [trace_of(cells[("all", kind, "patients")]) for kind in never]
    return content_of(("Complication", *heads, TRACE), rows, " ".join(note), holds)


def _columns(subsets: list[str]) -> list[tuple[str, str, str]]:
    """Heading (empty: that of the subset), subset and method of each column, the name of the kind aside."""
    parts = [("", subset, "patients") for subset in subsets if subset != "all"]
    parts = parts if len(parts) <= MOST_COLUMNS - 2 else []
    whole = [("All patients", "all", "patients")]
    further = [("All sites", "all", "sites"), (f"Patients by month {EARLY_MONTHS:g}", "first year", "patients")]
    return (whole + parts + further)[: MOST_COLUMNS - 1]


def _is_told(row, unit: str) -> bool:
    return row is not None and not is_withheld(row[f"n_{unit}"])


def _never(row) -> bool:
    return row is not None and not missing(row["n_events"]) and int(row["n_events"]) == 0


def _kind(kind: str) -> str:
    return str(kind).replace("_", " ")


def _named_below(never: list[str], cells: dict[tuple[str, str, str], pd.Series]) -> list[str]:
    """The kinds that never occurred, with what their interval reaches to."""
    if not never:
        return []
    highs = {percent(cells[("all", kind, "patients")]["conf_high"]) for kind in never}
    kinds = [_kind(kind) for kind in never]
    if len(highs) == 1 and "" not in highs:
        return [say("survival.never_occurred", kinds=kinds, high=highs.pop())]
    return [say("survival.never_occurred_withheld", kinds=kinds)]


def _whole(row) -> str:
    """`96 of 413, 23.2% (19.3% to 27.6%)`; the share alone where neither count is told."""
    if row is None:
        return ""
    counts, share = out_of(row["n_events"], row["n_patients"]), estimate(row)
    return share if counts == WITHHELD else f"{counts}, {share}"


def _share(row, column: tuple[str, str, str]) -> str:
    if row is None:
        return ""
    return share_of(row["n_events"], row["n_sites" if column[2] == "sites" else "n_patients"])
