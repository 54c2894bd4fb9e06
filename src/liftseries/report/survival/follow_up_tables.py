"""Tables of follow-up and of complications."""

from __future__ import annotations

from liftseries.report.kit.material import Material
from liftseries.report.kit.method import methods_of
from liftseries.report.kit.numbers import count, decimal, missing, percent, share_of
from liftseries.report.kit.tables.cells import TRACE, Content, content_of, estimate
from liftseries.report.kit.words import Words, trace_of
from liftseries.report.survival.follow_up import months, per_100

OF_TIME = (
    ("followup.median", "median", "Median follow-up, months", months),
    ("followup.median", "q1", "Lower quartile of follow-up, months", months),
    ("followup.median", "q3", "Upper quartile of follow-up, months", months),
    ("followup.implant_years", "sum", "Implant-years", lambda row: decimal(row["estimate"], 0)),
    ("followup.rate", "rate", "Failures per 100 implant-years", per_100),
    ("followup.failures", "all", "Failures", lambda row: count(row["estimate"])),
    ("followup.failures", "early", "Early failures, found by month 12", lambda row: count(row["estimate"])),
    ("followup.failures", "late", "Late failures", lambda row: count(row["estimate"])),
    ("followup.failures", "patients", "Patients who bear them", lambda row: count(row["estimate"])),
)


def completeness_table(material: Material, words: Words) -> Content | None:
    """Implants due, seen, lost and not yet due at each planned month."""
    found = {float(row["term"]): row for _, row in material.rows("followup.completeness").iterrows()}
    rows = []
    for _, at in material.table("followup_by_month").iterrows():
        row = found.get(float(at["months"]))
        known = "" if row is None else f"{count(at['n_seen'])}, {estimate(row)}"
        rows.append(
            (
                f"{at['months']:g}",
                count(at["n_due"]),
                known,
                count(at["n_ended"]),
                count(at["n_lost"]),
                count(at["n_never_seen"]),
                count(at["n_not_yet_due"]),
                "" if row is None else trace_of(row),
            )
        )
    heads = ("Month", "Implants due", "Known (95% interval)", "Failed or died", "Lost to follow-up", "Never seen")
    return content_of(
        (*heads, "Not yet due", TRACE),
        rows,
        "Known: examined within 3 months of the month, or failed or died by then. Failed or died, lost to follow-up "
        "and never seen are of the implants due; the others were in function at the month or at most 3 months before "
        f"it. {methods_of(material.rows('followup.completeness'))}",
    )


def time_table(material: Material, words: Words) -> Content | None:
    """Median follow-up, implant-years, failures per 100, early and late failures, patients who bear them."""
    rows = []
    for analysis, term, label, written in OF_TIME:
        of_term = material.rows(analysis, "all")
        for _, row in of_term[of_term["term"].eq(term)].iterrows():
            told = estimate(row) if missing(row["estimate"]) else written(row)
            rows.append((label, told, trace_of(row)))
    analyses = dict.fromkeys(analysis for analysis, *_ in OF_TIME)
    shown = material.results[material.results["analysis"].isin(analyses)]
    return content_of(("", "Value (95% interval)", TRACE), rows, methods_of(shown))


def complications_table(material: Material, words: Words) -> Content | None:
    """Patients with each kind of complication, by protocol; the sites beside them."""
    rates = material.rows("complications.rate")
    early = material.rows("complications.first_year")
    if rates.empty or rates["estimate"].isna().all():
        return None
    subsets = list(dict.fromkeys(rates["subset"]))
    cells = {(row["subset"], row["term"], row["method"]): row for _, row in rates.iterrows()}
    first_year = {(row["term"], row["method"]): row for _, row in early.iterrows()}
    rows, holds = [], [trace_of(row) for row in (*cells.values(), *first_year.values())]
    for kind in dict.fromkeys(rates["term"]):
        of_patients = [cells.get((subset, kind, "patients")) for subset in subsets]
        beside = (cells.get(("all", kind, "sites")), first_year.get((kind, "patients")))
        rows.append((kind.capitalize(), *map(_patients, of_patients), _sites(beside[0]), _patients(beside[1])))
    heads = ["All patients" if subset == "all" else words.subset(subset) for subset in subsets]
    return content_of(
        ("Complication", *heads, "Sites", "Patients by month 12"),
        rows,
        "Patients with the complication at any visit, of those of whom a visit says whether there was one; 95% "
        "interval exact. A patient with sites in two groups counts in both. Sites: 95% interval with patients as "
        "clusters. Rows of results.csv: complications.rate and, by month 12, complications.first_year, term the kind.",
        holds,
    )


def _patients(row) -> str:
    return "" if row is None else _share(row, share_of(row["n_events"], row["n_patients"]))


def _sites(row) -> str:
    return "" if row is None else _share(row, share_of(row["n_events"], row["n_sites"]))


def _share(row, of: str) -> str:
    """`25 of 413 (6.1%), 4.0% to 8.8%`."""
    limits = percent(row["conf_low"]), percent(row["conf_high"])
    return of + (f", {limits[0]} to {limits[1]}" if all(limits) else "")
