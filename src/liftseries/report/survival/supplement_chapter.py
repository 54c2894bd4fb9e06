"""Survival and hazards, how sure: the chapters of the supplement; bone gain and later failure."""

from __future__ import annotations

from collections.abc import Iterable

from liftseries.report.kit.blocks import Block, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.sentences import first, source
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say
from liftseries.report.survival.follow_up import closing_sentences
from liftseries.report.survival.hazard_tables import ALL_TERMS
from liftseries.report.survival.sentences import quoted_hazards, term_words


def blocks(writer: Writer) -> Iterable[Block]:
    """Who was followed, who was at risk, and the same question by other methods."""
    material = writer.material
    if not material.has_visits:
        return
    yield from closing_sentences(material)
    yield from writer.table("follow_up")
    yield from writer.table("numbers_at_risk")
    if "survival_methods" in writer.tables:
        yield Paragraph(say("survival.other_methods"))
        yield from writer.figure("survival_methods")
        yield from writer.table("survival_methods")
    yield from writer.table("months_apart")


def hazards(writer: Writer) -> Iterable[Block]:
    """Hazard ratios: what they rest on, other methods, ratios of times, whether hazards stay proportional."""
    material = writer.material
    if quoted_hazards(material).empty:
        return
    yield _basis(material)
    if "hazard_methods" in writer.tables:
        yield from writer.figure("hazard_methods")
        yield from writer.table("hazard_methods")
    if "time_ratios" in writer.tables:
        yield Paragraph(say("survival.time_ratios"))
        yield from writer.table("time_ratios")
    rows = material.quoted("survival.ph")
    row = first(rows[rows["term"].eq(ALL_TERMS)])
    if row is not None:
        seen = "not_proportional" if row["p_value"] < 0.05 else "proportional"
        yield Paragraph(say(f"survival.{seen}", p=row["p_value"]), source(row))
        yield from writer.figure("proportional_hazards")
        yield from writer.table("proportional_hazards")


def _basis(material: Material) -> Paragraph:
    """What the quoted hazard ratios rest on; the plan's terms that the failures did not allow."""
    quoted = quoted_hazards(material)
    row = quoted.iloc[0]
    alone = quoted["term"].str.partition("[")[0].nunique() == 1
    counts = {"failures": row["n_events"], "implants": row["n_sites"], "patients": row["n_patients"]}
    parts = [say("survival.hazard_basis_alone" if alone else "survival.hazard_basis", **counts)]
    whole = material.rows("survival.firth_cox", "all")
    whole = whole[whole["method"].eq("profile_or_jackknife") & ~whole["term"].isin(quoted["term"])]
    if row["method"] == "first_terms" and len(whole):
        terms = [term_words(one, material.words) for _, one in whole.iterrows()]
        parts.append(say("survival.hazard_left_out", failures=row["n_events"], terms=terms))
    return Paragraph(" ".join(parts), "; ".join(source(one) for _, one in quoted.iterrows()))


def landmark(writer: Writer) -> Iterable[Block]:
    """Bone gain and later failure."""
    if "gain_and_failure" in writer.tables:
        yield Paragraph(say("survival.landmark", month=writer.material.asked["landmark_months"]))
        yield from writer.table("gain_and_failure")
