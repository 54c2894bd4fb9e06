"""How the implants fared, in sentences."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.base.remarks import names_in
from liftseries.models.shared.gates import RATIO
from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.method import made_by
from liftseries.report.kit.numbers import (
    WITHHELD,
    count,
    counted,
    interval,
    listed,
    missing,
    p_value,
    percent,
)
from liftseries.report.kit.sentences import adjusted, first, last, small, source, why_no_ratio

MODELS = ("survival.firth_cox", "survival.cox")
BOUND = "bound_without_failure"


def share_words(row) -> str:
    """A share in function, or failed, with its interval; its bound where nothing has failed; "" without a limit."""
    if missing(row["estimate"]) or missing(row["conf_low"]):
        return ""
    if BOUND in names_in(row["note"]):
        in_function = row["estimate"] == 1
        return f"at least {percent(row['conf_low'])}" if in_function else f"at most {percent(row['conf_high'])}"
    return interval(row["estimate"], row["conf_low"], row["conf_high"], percent)


def quoted_survival(material: Material, subset: str = "all") -> pd.DataFrame:
    """The months at which survival is quoted."""
    rows = material.quoted("survival.km")
    return rows[rows["subset"].eq(subset)]


def may_be_set_side_by_side(material: Material) -> bool:
    """Whether there are failures enough to show survival of parts of the series beside each other."""
    return not material.rows("survival.km", "all")["n_events"].lt(RATIO).any()


def quoted_hazards(material: Material) -> pd.DataFrame:
    """The hazard ratios that are quoted."""
    return material.quoted(*MODELS)


def survival_sentence(material: Material) -> Paragraph | None:
    """How many implants were in function at the last month at which enough are at risk."""
    row = last(quoted_survival(material))
    if row is None:
        return None
    at_risk = material.table("survival_at_risk")
    at_risk = at_risk[at_risk["subset"].eq("all") & at_risk["months"].eq(float(row["term"]))]
    still = f", with {count(at_risk['n_at_risk'].iloc[0])} still at risk" if len(at_risk) else ""
    bound = ", a 95% bound of one side in which each patient counts once" if BOUND in names_in(row["note"]) else ""
    text = (
        f"At {row['term']} months {share_words(row)} of the implants were in function{bound}{still}; "
        f"{count(row['n_events'])} of {counted(row['n_sites'], 'implant')} followed failed at any time.{_narrow(row)}"
    )
    return Paragraph(text, source(row))


def _narrow(row) -> str:
    if "narrow_by_clustering" not in names_in(row["note"]):
        return ""
    return " The interval is narrower than that of independent implants would be: read it with caution."


def months_sentences(material: Material) -> Iterable[Block]:
    """Survival at each quoted month before the last; at which months of the plan none is given, and why."""
    rows = quoted_survival(material)
    if len(rows) > 1:
        earlier = [row for _, row in rows.iloc[:-1].iterrows()]
        told = [f"at {row['term']} months {share_words(row)}" for row in earlier]
        yield Paragraph(f"Before that, {listed(told)}.", "; ".join(source(row) for row in earlier))
    km = material.rows("survival.km", "all")
    km = km[made_by(km, "corrected") & ~km["term"].isin(rows["term"])]
    if km["problem"].eq(WITHHELD).any():
        yield Paragraph("How many implants were in function at some months of the plan is withheld.")
    elif len(km) and int(km["n_sites"].iloc[0]):
        yield Paragraph(
            f"At {listed(list(km['term']))} months too few implants were followed for a statement on survival; it is "
            "given while 20 of them, and a tenth of all, are at risk."
        )


def hazard_model_sentence(material: Material) -> Iterable[Block]:
    """What the quoted hazard ratios rest on; where there are none, or not of all terms, what was not possible."""
    quoted = quoted_hazards(material)
    if len(quoted):
        row = quoted.iloc[0]
        yield Paragraph(
            f"The hazard ratios rest on {counted(row['n_events'], 'failure')} in {counted(row['n_sites'], 'implant')} "
            f"of {counted(row['n_patients'], 'patient')}; {adjusted(quoted)}."
        )
    whole = material.rows("survival.firth_cox", "all")
    whole = whole[made_by(whole, "profile_or_jackknife") & ~whole["term"].isin(quoted["term"])]
    why = why_no_ratio(whole, material.words, "failure", "implants")
    if why:
        names = [small(material.words.term(row["term"], str(row["note"]))) for _, row in whole.iterrows()]
        what = f"No hazard ratio is given of {listed(names)}" if len(quoted) else "No hazard ratio is given"
        yield Paragraph(f"{what}: {why}.")


def hazards_sentence(material: Material) -> Iterable[Block]:
    """Whether hazard ratios stay the same over time, where failures are enough to ask."""
    rows = material.quoted("survival.ph")
    row = first(rows[rows["term"].eq("GLOBAL")])
    if row is not None:
        seen = "give reason to doubt" if row["p_value"] < 0.05 else "do not contradict"
        yield Paragraph(
            f"The data {seen} that hazard ratios stay the same over time (p {p_value(row['p_value'])}); with few "
            "failures such a test sees little.",
            source(row),
        )
