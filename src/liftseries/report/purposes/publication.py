"""What the report says, chapter by chapter, in reading order; `page` decides how it looks.

Every sentence is put together from counts and estimates that a run left. What is missing is said in one
sentence; what could not be estimated is listed with the reason, in the chapter it belongs to.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import pandas as pd
import yaml

from liftseries.base.outputs import remake_folder
from liftseries.models.shared.design import INTERCEPT
from liftseries.report.closing.limits import limits
from liftseries.report.closing.methods import methods
from liftseries.report.kit.blocks import (
    Block,
    Chapter,
    Listing,
    NumberedTable,
    Paragraph,
    Picture,
    Report,
    Verbatim,
)
from liftseries.report.kit.captions import CAPTIONS, RELEASED_CAPTIONS
from liftseries.report.kit.material import Material, read_material
from liftseries.report.kit.numbers import (
    WITHHELD,
    count,
    counted,
    listed,
    people,
    share_of,
)
from liftseries.report.kit.sentences import (
    NO_CUT_POINTS,
    bend_sentences,
    bias_sentence,
    depth_sentence,
    difference,
    effect,
    effects,
    evalue_sentence,
    first,
    first_term,
    gain_sentence,
    hazards_sentence,
    lost_sentence,
    problems,
    rate_sentence,
    risk_difference_sentences,
    rows_to_read,
    small,
    survival_sentence,
    validation_sentences,
)
from liftseries.report.kit.svg import alt_text, width_mm
from liftseries.report.kit.tables.cells import Display
from liftseries.report.kit.words import BANDS, DEVIATIONS, Words
from liftseries.report.pages.page import write_html, write_pdf
from liftseries.report.pages.table_files import write_tables
from liftseries.report.purposes.tables import displays
from liftseries.study.input_hashes import input_hashes
from liftseries.study.plan import read_plan

ODDS = ("perforation.gee", "perforation.firth")
HAZARDS = ("survival.cox", "survival.firth_cox")
NOTICES = (
    "For research and audit. This report is not a medical device and gives no advice for a patient in the chair.",
    "Local codes and licensed clinical judgement come first.",
    "Small numbers mislead: read every share with its denominator and every estimate with its interval.",
)
VERSIONS = "Versions, plan and inputs"
RELEASED = (
    "Made to leave the house: numbers that tell of few patients, or would give them away, are withheld; a chapter says "
    "which, and why."
)


def build(material: Material) -> Report:
    """The publication report of a run.

    Parameters
    ----------
    material : as `read_material` gives it
    """
    study = material.plan.get("study", {})
    writer = _Writer(material, displays(material))
    chapters = (
        writer.chapter("studied", "What was studied", _studied(writer)),
        writer.chapter("who", "Who is in it", _who(writer)),
        writer.chapter("depth", "How deep was drilled", _depth(writer)),
        writer.chapter("membrane", "What happened to the membrane", _membrane(writer)),
        writer.chapter("implants", "How the implants fared", _implants(writer)),
        writer.chapter("bone", "What bone was gained", _bone(writer)),
        writer.chapter("sensitivity", "What could change the answers", _sensitivity(writer)),
        writer.chapter("limits", "What this cannot tell", _limits(writer)),
        *([writer.chapter("withheld", "What was withheld, and why", _withheld(writer))] if material.withheld else []),
        writer.chapter("methods", "Methods", _methods(writer)),
        writer.chapter("versions", "Versions and plan" if material.withheld else VERSIONS, _versions(writer)),
    )
    return Report(
        title=study.get("title") or "Crestal sinus floor lifts",
        question=study.get("question") or "",
        study_id=study.get("id") or "",
        notices=(*NOTICES, *([RELEASED] if material.withheld else [])),
        studied=tuple(_in_numbers(material)),
        findings=tuple(_findings(writer)),
        chapters=chapters,
        tables=writer.tables,
    )


def write_report(job) -> None:
    """The job of the workflow: report.html, report.pdf and tables/ from what the run left in the working folder."""
    plan = read_plan(job.params.study)
    report = build(read_material(".", plan.as_written, job.params.versions, input_hashes(plan)))
    write_html(report, job.outputs.html)
    write_pdf(report, job.outputs.pdf)
    with remake_folder(job.outputs.tables) as tables:
        write_tables(report.tables, tables)


@dataclass
class _Writer:
    """Hands out figures and tables with their numbers, in the order in which the chapters ask for them."""

    material: Material
    tables: dict[str, Display]
    n_figures: int = 0
    n_tables: int = 0
    shown: set[str] = field(default_factory=set)

    @property
    def words(self) -> Words:
        return Words(self.material.plan.get("extra_columns") or {})

    def chapter(self, name: str, title: str, blocks: Iterable[Block]) -> Chapter:
        return Chapter(name, title, tuple(blocks))

    def figure(self, name: str) -> list[Block]:
        path = self.material.figures.get(name)
        if path is None:
            return []
        self.n_figures += 1
        captions = CAPTIONS | RELEASED_CAPTIONS if self.material.withheld else CAPTIONS
        return [Picture(name, path, alt_text(path), captions[name], self.n_figures, width_mm(path))]

    def table(self, name: str) -> list[Block]:
        if name not in self.tables:
            return []
        self.n_tables += 1
        self.shown.add(name)
        return [NumberedTable(self.tables[name], self.n_tables)]


# ── the first page ──────────────────────────────────────────────────────────────────────────────────────────


def _in_numbers(material: Material) -> Iterable[tuple[str, str]]:
    stages = {row["stage"]: row for _, row in material.table("flow").iterrows()}
    if "in the series" in stages:
        yield "In the series", people(stages["in the series"])
    if "set aside" in stages:
        yield "Set aside", people(stages["set aside"])
    for stage, label in (("with a drilling log", "With a drilling log"), ("with a visit", "With a visit")):
        if stage in stages:
            yield label, people(stages[stage])
    rate = first(material.rows("perforation.rate", "all"))
    if rate is not None:
        yield (
            "Perforations",
            f"{count(rate['n_events'])} at {counted(rate['n_sites'], 'site')} where it is known",
        )
    followed = first(material.rows("survival.km", "all"))
    if followed is not None and followed["n_sites"]:
        yield (
            "Implant failures",
            f"{count(followed['n_events'])} of {counted(followed['n_sites'], 'implant')} followed",
        )


def _findings(writer: _Writer) -> Iterable[Paragraph]:
    material, words = writer.material, writer.words
    sentences = [
        rate_sentence(material),
        effect(first_term(rows_to_read(material, *ODDS)), words, "the odds of a perforation"),
        depth_sentence(material),
        survival_sentence(material),
        effect(first_term(rows_to_read(material, *HAZARDS)), words, "the hazard of implant failure"),
        gain_sentence(material),
    ]
    found = [sentence for sentence in sentences if sentence is not None]
    yield from found or [Paragraph("Nothing could be estimated; the chapters say why.")]


def _studied(writer: _Writer) -> Iterable[Block]:
    material = writer.material
    plan = material.plan.get("plan", {})
    yield Paragraph(
        "A series of crestal sinus floor lifts with implants. The unit of study is the site; sites of one "
        "patient resemble each other, and every interval that says so takes that into account. Depths run "
        "along the drilling axis, positive into bone, from 0 at the crest."
    )
    files = material.plan.get("tables", {})
    if files:
        named = [f"{counted(len(labels), 'file')} of {table}" for table, labels in files.items()]
        yield Paragraph(f"The study folder names {listed(named)}.")
    if len(material.table("counts")):
        totals = material.table("counts").groupby("table", sort=False)[["read", "kept", "set_aside"]].sum()
        told = [f"{name} {count(row['kept'])} of {count(row['read'])}" for name, row in totals.iterrows()]
        yield Paragraph(f"Rows kept of rows read: {listed(told)}.")
    if plan:
        terms = {
            "perforation": plan.get("perforation_terms"),
            "survival": plan.get("survival_terms"),
            "bone gain": plan.get("gain_terms"),
        }
        named = tuple(
            f"{question}: {listed([small(writer.words.column(term)) for term in chosen])}"
            for question, chosen in terms.items()
            if chosen
        )
        yield Listing("The plan names the terms that each model takes:", named)


def _who(writer: _Writer) -> Iterable[Block]:
    material = writer.material
    stages = {row["stage"]: row for _, row in material.table("flow").iterrows()}
    if "in the series" in stages:
        told = [
            f"{stage}: {people(stages[stage])}" for stage in ("read", "set aside", "in the series") if stage in stages
        ]
        yield Paragraph(f"{'; '.join(told)[0].upper()}{'; '.join(told)[1:]}.")
    else:
        yield Paragraph("The run left no counts of patients and sites.")
    yield from writer.figure("flow")
    yield from writer.table("flow")
    if material.withheld:
        yield Paragraph("Rows set aside are single records; which and how many there were stays in the house.")
    elif material.table("set_aside").empty:
        yield Paragraph("No row was set aside.")
    else:
        n = len(material.table("set_aside").drop_duplicates(["table", "file", "row"]))
        yield Paragraph(
            f"{counted(n, 'row')} of all tables {'was' if n == 1 else 'were'} set aside, with what depends on them."
        )
        yield from writer.table("set_aside")
    yield from writer.table("characteristics")
    yield from writer.figure("residual_height")
    if material.table("missing").empty:
        yield Paragraph("The run left no count of missing values.")
    elif pd.to_numeric(material.table("missing")["n_missing"]).eq(0).all():
        yield Paragraph("No value is missing in the columns looked at.")
    else:
        yield from writer.table("missing")


def _depth(writer: _Writer) -> Iterable[Block]:
    material = writer.material
    if not _has_log(material):
        yield Paragraph("The study has no drilling log, so nothing can be said of how deep was drilled.")
        return
    sentence = depth_sentence(material)
    if sentence:
        yield sentence
    yield from writer.figure("planned_achieved")
    yield from writer.table("depth_agreement")
    yield from bias_sentence(material)
    yield from writer.table("proportional_bias")
    whole = material.table("deviations")[material.table("deviations")["subset"].eq("all")]
    whole = whole[pd.to_numeric(whole["n_sites"]).ne(0)]
    if len(whole):
        ranked = whole.sort_values("share", ascending=False, kind="stable").head(3)
        told = [
            f"{small(DEVIATIONS.get(row['deviation'], row['deviation']))} at {share_of(row['n_true'], row['n_sites'])}"
            for _, row in ranked.iterrows()
            if row["n_true"] > 0
        ]
        if told:
            yield Paragraph(
                f"The commonest deviations from the drilling plan: {listed(told)}.", "models/deviations.csv"
            )
        elif pd.to_numeric(whole["n_true"]).eq(0).all():
            yield Paragraph("No deviation from the drilling plan was found.", "models/deviations.csv")
    yield from writer.figure("deviations")
    yield from writer.table("deviations")
    yield from writer.figure("ladder_case")
    yield from problems(material, "depth.agreement", "depth.proportional_bias")


def _membrane(writer: _Writer) -> Iterable[Block]:
    material, words = writer.material, writer.words
    rates = material.rows("perforation.rate")
    if rates.empty or pd.to_numeric(rates["n_sites"]).fillna(0).eq(0).all():
        yield Paragraph("No site has its perforation recorded, so nothing can be said of the membrane.")
    sentence = rate_sentence(material)
    if sentence:
        yield sentence
    for band, name in BANDS.items():
        told = []
        for _, row in rates[rates["subset"].str.startswith(f"{band}=") & rates["method"].eq("exact")].iterrows():
            level = row["subset"].partition("=")[2]
            told.append(f"{level} mm {share_of(row['n_events'], row['n_sites'])}")
        if told:
            yield Paragraph(f"By {small(name)}: {'; '.join(told)}.", f"perforation.rate · {band}=… · rate · exact")
    yield from writer.figure("perforation_by_height")
    yield from writer.table("perforation_rate")
    gee = material.rows("perforation.gee")
    if len(gee):
        yield Paragraph(
            f"The model rests on {counted(gee['n_events'].iloc[0], 'perforation')} in "
            f"{counted(gee['n_sites'].iloc[0], 'site')} of {counted(gee['n_patients'].iloc[0], 'patient')}. "
            "Each term is held against the others."
        )
        yield from effects(rows_to_read(material, *ODDS), words, "the odds of a perforation")
    yield from writer.figure("perforation_odds")
    yield from writer.table("perforation_odds")
    if len(gee):
        yield Paragraph(
            "The same terms in other ways: with a penalty that keeps odds finite where a level has no perforation, and "
            "with missing terms filled in. Where they disagree, the data do not carry the term."
        )
    yield from writer.table("perforation_ways")
    yield from writer.figure("risk_curves")
    yield from bend_sentences(material, words)
    yield from writer.table("perforation_nonlinearity")
    yield from risk_difference_sentences(material, words)
    yield from writer.table("risk_differences")
    yield from writer.table("perforation_risk")
    yield Paragraph(NO_CUT_POINTS)
    yield from validation_sentences(material)
    yield from writer.table("perforation_validation")
    yield from problems(
        material,
        "perforation.rate",
        "perforation.gee",
        "perforation.firth",
        "perforation.imputed",
        "perforation.risk",
        "perforation.risk_lift",
        "perforation.risk_band",
        "perforation.nonlinearity",
        "perforation.risk_difference",
        "perforation.validation",
    )


def _implants(writer: _Writer) -> Iterable[Block]:
    material, words = writer.material, writer.words
    if not _has_visits(material):
        yield Paragraph("No implant was seen at a visit, so nothing can be said of how the implants fared.")
        return
    sentence = survival_sentence(material)
    if sentence:
        yield sentence
    elif material.results.loc[material.results["analysis"].eq("survival.km"), "problem"].eq(WITHHELD).any():
        yield Paragraph("How many implants were in function at the months of the plan is withheld; the rest follows.")
    else:
        yield Paragraph("No implant was followed long enough for a survival estimate.")
    yield Paragraph("A failure is dated at the visit that found it.")
    yield from writer.figure("survival")
    yield from writer.table("survival")
    yield from writer.table("numbers_at_risk")
    yield Paragraph(
        "A failure happened at some time after the last visit in function, and a dead patient's implants can no longer "
        "fail. What these choices are worth:"
    )
    yield from writer.figure("survival_between_visits")
    yield from writer.table("survival_by_way")
    yield from writer.figure("survival_by_height")
    yield from writer.figure("competing_risks")
    yield from writer.table("competing_risks")
    yield from writer.table("months_in_function")
    yield from writer.table("life_table")
    cox = material.rows("survival.cox")
    if len(cox):
        yield Paragraph(
            f"The model rests on {counted(cox['n_events'].iloc[0], 'failure')} in "
            f"{counted(cox['n_sites'].iloc[0], 'implant')} of "
            f"{counted(cox['n_patients'].iloc[0], 'patient')}."
        )
        yield from effects(rows_to_read(material, *HAZARDS), words, "the hazard of implant failure")
    yield from writer.figure("hazard_ratios")
    yield from writer.table("hazard_ratios")
    yield from writer.table("hazard_ways")
    yield from hazards_sentence(material)
    yield from writer.figure("proportional_hazards")
    yield from writer.table("proportional_hazards")
    yield from writer.table("failure_times")
    if len(material.rows("survival.gain")):
        yield Paragraph(
            "An implant must last long enough for its bone gain to be measured. Counted from placement, a gain "
            "measured later would be credited with that time; so gain enters only for implants still in function at "
            f"the landmark, month {material.plan.get('plan', {}).get('landmark_months', 12):g}, and only failures "
            "after it count."
        )
    yield from writer.table("gain_and_failure")
    yield from writer.table("complications")
    survival = [name for name in dict.fromkeys(material.results["analysis"]) if str(name).startswith("survival.")]
    yield from problems(material, *survival)


def _bone(writer: _Writer) -> Iterable[Block]:
    material, words = writer.material, writer.words
    if not _has_visits(material):
        yield Paragraph("No implant was seen at a visit, so nothing can be said of the bone gained.")
        return
    yield Paragraph(
        "Bone gain is the bone height at a visit less the residual bone height in the middle of the footprint."
    )
    sentence = gain_sentence(material)
    if sentence:
        yield sentence
    yield from writer.figure("gain_by_visit")
    rows = material.rows("gain.mixed")
    for _, row in rows[~rows["term"].eq(INTERCEPT) & rows["estimate"].notna()].iterrows():
        yield difference(row, words)
    yield from writer.figure("gain_terms")
    yield from writer.table("gain_terms")
    yield from writer.table("gain_scatter")
    yield from problems(material, "gain.mixed")


def _sensitivity(writer: _Writer) -> Iterable[Block]:
    material = writer.material
    yield from evalue_sentence(material)
    yield from writer.table("evalues")
    yield Paragraph(
        "A tear that nobody saw counts as none. In cadavers, where the membrane can be watched, more tears are found "
        "than clinics report; what the rates would be if only a part had been seen:"
    )
    yield from writer.table("detection")
    yield from writer.table("detection_contrast")
    if _has_visits(material):
        yield from lost_sentence(material)
        yield from writer.table("lost_implants")
    yield Paragraph(
        "The more alike the sites of a patient, the less each further site tells. The design effect beside an estimate "
        "says how many times over that widens its variance."
    )
    yield from writer.table("intraclass_correlation")
    analyses = [
        name
        for name in dict.fromkeys(material.results["analysis"])
        if str(name).startswith(("sensitivity.", "measurement."))
    ]
    yield from problems(material, *analyses)


def _limits(writer: _Writer) -> Iterable[Block]:
    for text in limits(writer.material, writer.words):
        yield Paragraph(text)
    yield from writer.table("left_out")


def _withheld(writer: _Writer) -> Iterable[Block]:
    for text in writer.material.withheld:
        yield Paragraph(text)


def _methods(writer: _Writer) -> Iterable[Block]:
    for lead, text in methods(writer.material, writer.words):
        yield Paragraph(text, lead=lead)
    yield from writer.table("imputation")
    yield from writer.table("coverage")
    yield from writer.table("other_estimates")


def _versions(writer: _Writer) -> Iterable[Block]:
    material = writer.material
    if material.versions:
        yield _reference_table(
            writer,
            "versions",
            "What made the numbers and pictures.",
            ("Software", "Version"),
            material.versions.items(),
        )
    seed = material.plan.get("plan", {}).get("seed")
    if seed is not None:
        yield Paragraph(f"Random numbers start from {seed}.")
    if material.inputs:
        yield _reference_table(
            writer,
            "inputs",
            "The input files and their SHA-256.",
            ("File", "SHA-256"),
            material.inputs.items(),
        )
    yield Paragraph(
        "study.yaml as the run read it, without what names files:"
        if material.withheld
        else "study.yaml as the run read it, every default filled in:"
    )
    plain = json.loads(json.dumps(material.plan, default=str))
    yield Verbatim(yaml.safe_dump(plain, sort_keys=False, allow_unicode=True, width=90).rstrip())


def _reference_table(writer: _Writer, name: str, caption: str, columns: Sequence[str], rows) -> NumberedTable:
    writer.n_tables += 1
    return NumberedTable(
        Display(name, caption, tuple(columns), tuple((str(a), str(b)) for a, b in rows)), writer.n_tables
    )


def _has_log(material: Material) -> bool:
    return bool(pd.to_numeric(material.table("deviations")["n_sites"]).fillna(0).ne(0).any())


def _has_visits(material: Material) -> bool:
    followed = material.results[material.results["analysis"].isin(["survival.km", "gain.mixed"])]
    return bool(pd.to_numeric(followed["n_sites"]).fillna(0).ne(0).any())
