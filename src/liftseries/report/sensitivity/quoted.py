"""Which rows of results.csv the chapters on what could change the answers print."""

from __future__ import annotations

import pandas as pd

from liftseries.base.remarks import names_in, remarks_in
from liftseries.models.sensitivity.icc import OF_SITE
from liftseries.models.sensitivity.lost import OBSERVED, WORST
from liftseries.models.shared.gates import MANY_TERMS, RATIO
from liftseries.models.shared.results import DESIGN_EFFECT
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import is_withheld, missing
from liftseries.report.kit.quoted import below_gate, printable

LOST, TIPPING = "sensitivity.lost_implants", "sensitivity.tipping_point"


def enough_events(row) -> bool:
    """Whether five events or more, or an unsaid number, stand behind a row."""
    return is_withheld(row["n_events"]) or (not missing(row["n_events"]) and row["n_events"] >= RATIO)


def detection_rows(material: Material) -> pd.DataFrame:
    """Shares if only a part of the perforations was seen, of the groups with enough of them; none without the whole."""
    rows = printable(material.rows("sensitivity.detection"))
    enough = pd.Series([enough_events(row) for _, row in rows.iterrows()], index=rows.index, dtype=bool)
    rows = rows[enough]
    return rows if rows["subset"].eq("all").any() else rows.iloc[:0]


def contrast_rows(material: Material) -> pd.DataFrame:
    """Odds ratios if perforations were seen more often in one group; from as many perforations as carry two terms."""
    rows = material.rows("sensitivity.detection_contrast")
    enough = rows["n_events"].map(is_withheld) | pd.to_numeric(rows["n_events"]).ge(MANY_TERMS)
    return printable(rows[~below_gate(rows) & enough])


def lost_rows(material: Material) -> dict[float, dict[str, pd.Series]]:
    """Month -> case -> row, of the months at which survival is quoted; empty with fewer than five failures."""
    rows = printable(material.results[material.results["analysis"].isin([LOST, TIPPING])])
    quoted = {float(term) for term in material.quoted("survival.km").query("subset == 'all'")["term"]}
    months: dict[float, dict[str, pd.Series]] = {}
    for _, row in rows.iterrows():
        if float(row["term"]) in quoted:
            months.setdefault(float(row["term"]), {})[row["method"]] = row
    months = {month: cases for month, cases in sorted(months.items()) if {OBSERVED, WORST} <= set(cases)}
    enough = any(enough_events(cases[OBSERVED]) for cases in months.values())
    return months if enough else {}


def lost_implants(tipping) -> int | None:
    """How many implants were lost by the month of a tipping point; None where its row does not say."""
    if tipping is None:
        return None
    return next((one.holes["n_lost"] for one in remarks_in(tipping["note"]) if one.name == "lost_before"), None)


def icc_rows(material: Material) -> pd.DataFrame:
    """One correlation of each quantity for two sites of a patient, the one from all visits where there is one, and one
    for two visits of a site."""
    rows = material.rows("measurement.icc")
    rows = printable(rows[~below_gate(rows)])
    of_site = rows["method"].eq(OF_SITE)
    return rows[~rows.assign(of_site=of_site).duplicated(["term", "of_site"], keep="last")]


def design_effects(material: Material) -> pd.DataFrame:
    """The quoted rows of all sites that have a design effect, with `effect`; a change is told by the year alone."""
    quoted = material.results[material.results["headline"].eq(True) & material.results["estimate"].notna()]
    quoted = quoted[quoted["subset"].eq("all") & ~quoted["term"].isin(["months", "(intercept)"])]
    quoted = quoted[~quoted["analysis"].str.startswith("sensitivity.")]
    effects = material.rows(DESIGN_EFFECT)
    effects = effects[effects["subset"].eq("all") & effects["estimate"].notna()]
    effects = effects[~effects["note"].map(lambda note: "rounded_effect" in names_in(str(note))).astype(bool)]
    of_row = dict(zip(zip(effects["term"], effects["method"], strict=True), effects["estimate"], strict=True))
    keys = zip(quoted["analysis"] + " " + quoted["term"].astype(str), quoted["method"], strict=True)
    quoted = quoted.assign(effect=[of_row.get(key) for key in keys])
    return quoted[quoted["effect"].notna()]
