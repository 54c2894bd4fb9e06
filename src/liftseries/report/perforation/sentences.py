"""How often the membrane was perforated, and the risk by residual bone height, in sentences: the quoted rows."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.base.remarks import names_in
from liftseries.models.shared.design import INTERCEPT
from liftseries.models.shared.gates import RATIO
from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.method import made_by
from liftseries.report.kit.numbers import exponent, interval, is_few, is_withheld, missing, percent, ratio
from liftseries.report.kit.sentences import first, small, source
from liftseries.report.kit.stages import IN_SERIES, stages
from liftseries.report.kit.words import BANDS
from liftseries.report.languages.say import say

HEIGHT, LIFT = "rbh_mid_mm", "protrusion_mm"
HEIGHTS = {HEIGHT: "perforation.risk", LIFT: "perforation.risk_lift"}
SHARES_BY = (*BANDS, "approach", "protocol", "centre")
Told = tuple[str, list[str]]  # a sentence, and the rows of results.csv that it comes from


def paragraph(told: Iterable[Told]) -> Iterable[Paragraph]:
    """Sentences as one paragraph; none where there is nothing to tell."""
    told = list(told)
    if told:
        sources = dict.fromkeys(key for _, keys in told for key in keys)
        yield Paragraph(" ".join(text for text, _ in told), "; ".join(sources))


def quoted_odds(material: Material) -> pd.DataFrame:
    """The odds ratios that are quoted, a row a term, the intercept aside."""
    rows = material.quoted("perforation.firth", "perforation.gee")
    return rows[~rows["term"].eq(INTERCEPT)]


def share_row(material: Material):
    """The share of all sites, patients as clusters; None where no site has its perforation recorded."""
    rows = material.rows("perforation.rate", "all")
    row = first(rows[made_by(rows, "patients")])
    return None if row is None or missing(row["n_sites"]) or row["n_sites"] == 0 else row


def may_be_compared(row) -> bool:
    """Whether a share rests on as many perforations as a comparison of sites needs."""
    return row is not None and not missing(row["n_events"]) and row["n_events"] >= RATIO


def is_bound(row) -> bool:
    """Whether a share has a one-sided bound alone."""
    return bool({"one_sided_bound", "bound_of_few"} & names_in(row["note"]))


def of_one_patient(row) -> bool:
    """Whether a share has the exact interval of one patient among all."""
    return "one_patient_has_the_outcome" in names_in(row["note"])


def bound_of(row) -> str:
    """`at most 3.3%`."""
    if missing(row["estimate"]) or row["estimate"] == 0:
        return say("perforation.at_most", share=row["conf_high"])
    return say("perforation.at_least", share=row["conf_low"])


def share_words(row) -> str:
    """`7.3% (5.4% to 9.7%)`; `at most 9.5%` where nothing was seen; nothing where there is no interval."""
    if missing(row["conf_low"]) or (missing(row["estimate"]) and not is_bound(row)):
        return ""
    return bound_of(row) if is_bound(row) else interval(*limits(row), percent)


def limits(row) -> tuple[float, float, float]:
    """Estimate and interval."""
    return row["estimate"], row["conf_low"], row["conf_high"]


def covered(row) -> str:
    """`634 sites of 419 patients, 46 perforations`, for a caption."""
    return say("perforation.covers", **{name: row[name] for name in ("n_sites", "n_patients", "n_events")})


def of_sites(row, n_series=None) -> str:
    """`46 of the 634 sites where this is known`; a bound where one of the two is not told.

    Parameters
    ----------
    row : of a share perforated
    n_series : sites of the series, at most so many of which it is known; None where nothing tells
    """
    n_sites, n_events = row["n_sites"], row["n_events"]
    told, few = not is_withheld(n_events), is_few(n_events)
    if is_withheld(n_sites):
        if missing(n_series) or is_withheld(n_series) or not (told or few):
            return say("perforation.sites_withheld")
        holes = {"n_events": n_events, "n_sites": n_series}
        if not told or n_events == 0:
            return say("perforation.of_at_most_few", **holes)
        return say("perforation.of_at_most", **holes, least=percent(n_events / n_series))
    if few and -n_events < n_sites:
        return say("perforation.of_sites_few", n_events=n_events, n_sites=n_sites, most=percent(-n_events / n_sites))
    if not (told or few):
        return say("perforation.of_sites_withheld", n_sites=n_sites)
    return say("perforation.of_sites", n_events=n_events, n_sites=n_sites)


def n_series(material: Material):
    """Sites of the series; None where nobody was counted."""
    row = stages(material).get(IN_SERIES)
    return None if row is None else row["n_sites"]


def share_sentences(material: Material) -> Iterable[Told]:
    """How often the membrane was perforated."""
    row = share_row(material)
    if row is None:
        return
    if not share_words(row):
        text = say("perforation.share_alone", sites=of_sites(row, n_series(material)))
    elif is_bound(row):
        text = say("perforation.share_bound", sites=of_sites(row), bound=bound_of(row))
    else:
        how = "how_one_patient" if of_one_patient(row) else "how_patients"
        share, low, high = map(percent, limits(row))
        how = say(f"perforation.{how}")
        text = say("perforation.share", sites=of_sites(row), share=share, low=low, high=high, how=how)
    yield text, [source(row)]
    if "narrow_by_clustering" in names_in(row["note"]):
        yield say("perforation.narrow"), []
    left_out = material.left_out
    unknown = left_out[left_out["analysis"].eq("perforation.rate") & left_out["subset"].eq("all")]["n_sites"]
    if len(unknown) and not unknown.map(missing).any():
        n = -1 if unknown.map(is_withheld).any() else int(unknown.sum())
        yield say("perforation.unknown", n_sites=n), []


def odds_per_mm(material: Material):
    """The quoted odds ratio per mm of residual bone height, or None."""
    rows = quoted_odds(material)
    return first(rows[rows["term"].eq(HEIGHT)])


def odds_words(row) -> str:
    """`0.86 (0.66 to 1.11)`."""
    return interval(*map(exponent, limits(row)), ratio)


def is_open(row) -> bool:
    """Whether the interval of a log odds ratio includes no difference."""
    return not missing(row["conf_low"]) and row["conf_low"] < 0 < row["conf_high"]


def risks_at_ends(material: Material, column: str = HEIGHT) -> list[pd.Series]:
    """The quoted risks at both ends of the plan's contrast along a measure, the lower end first."""
    of_term = {row["term"]: row for _, row in material.quoted(HEIGHTS[column]).iterrows()}
    ends = [float(end) for end in material.asked["risk_contrasts"].get(column, ()) if not isinstance(end, str)]
    return [of_term[f"{end:g}"] for end in sorted(ends) if f"{end:g}" in of_term]


def risks_in_words(rows: Iterable[pd.Series]) -> list[str]:
    """`7.9% (5.6% to 11.0%) at 4 mm`."""
    return [say("perforation.risk_at", risk=interval(*limits(row), percent), mm=row["term"]) for row in rows]


def height_sentences(material: Material) -> Iterable[Told]:
    """The quoted odds ratio per mm of residual bone height, the risks of the same fit, and what the fit rests on."""
    row, risks = odds_per_mm(material), risks_at_ends(material)
    if row is not None:
        yield say("perforation.height", ratio=odds_words(row), p=row["p_value"], adjusted=adjusted_for(material, row),
                  compatible=say("perforation.compatible") if is_open(row) else ""), [source(row)]  # fmt: skip
    if risks:
        name = "height_risks" if row is not None else "height_risks_alone"
        yield say(f"perforation.{name}", risks=risks_in_words(risks)), list(map(source, risks))
    yield from complete_cases(material)


def adjusted_for(material: Material, row) -> str:
    """`penalised model, adjusted for approach and septum`."""
    rows = quoted_odds(material)
    columns = [name for name in dict.fromkeys(rows["term"].str.partition("[")[0]) if name != HEIGHT]
    many = "_many" if row["analysis"] == "perforation.gee" else ""
    if not columns:
        return say(f"perforation.alone{many}")
    return say(f"perforation.adjusted{many}", terms=[small(material.words.column(name)) for name in columns])


def complete_cases(material: Material) -> Iterable[Told]:
    """Why the model has fewer perforations than were seen, where it has."""
    whole, model = share_row(material), first(quoted_odds(material))
    if whole is None or model is None or any(is_withheld(row["n_events"]) for row in (whole, model)):
        return
    if model["n_events"] < whole["n_events"] and not is_withheld(model["n_sites"]):
        yield say("perforation.complete", used=int(model["n_events"]), n_events=whole["n_events"],
                  n_sites=model["n_sites"]), []  # fmt: skip


def unseen_sentences(material: Material) -> Iterable[Told]:
    """What the share would be if only a part of the perforations had been found."""
    rows = material.rows("sensitivity.detection", "all")
    rows = rows[rows["estimate"].notna() & ~rows["term"].eq("1")].head(2)
    if len(rows) and may_be_compared(share_row(material)):
        told = [
            say("perforation.unseen_if", share=row["estimate"], part=100 * float(row["term"]))
            for _, row in rows.iterrows()
        ]
        yield say("perforation.unseen", told=told), [source(row) for _, row in rows.iterrows()]
