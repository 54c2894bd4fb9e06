"""What the report says, chapter by chapter, in reading order; `page` decides how it looks.

Every sentence is put together from counts and estimates that a run left. What is missing is said in one
sentence; what could not be estimated is listed with the reason, in the chapter it belongs to.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd
import yaml

from liftseries.models.design import INTERCEPT
from liftseries.report.captions import CAPTIONS
from liftseries.report.limits import limits
from liftseries.report.material import Material
from liftseries.report.methods import methods
from liftseries.report.numbers import (
    count,
    counted,
    decimal,
    exponent,
    interval,
    listed,
    missing,
    people,
    percent,
    ratio,
    share_of,
)
from liftseries.report.svg import alt_text, width_mm
from liftseries.report.tables import Display, displays
from liftseries.report.wording import BANDS, DEVIATIONS, Words, trace

NOTICES = (
    "For research and audit. This report is not a medical device and gives no advice for a patient in the chair.",
    "Local codes and licensed clinical judgement come first.",
    "Small numbers mislead: read every share with its denominator and every estimate with its interval.",
)


@dataclass(frozen=True)
class Paragraph:
    """Plain text; `source` names the row of results.csv that it comes from, `lead` opens it in bold."""

    text: str
    source: str = ""
    lead: str = ""
    kind: str = "paragraph"


@dataclass(frozen=True)
class Listing:
    """A sentence and what it lists."""

    text: str
    items: tuple[str, ...]
    kind: str = "listing"


@dataclass(frozen=True)
class Picture:
    """A figure: `path` of its SVG, the alternative text and width read from it, `number` in reading order."""

    name: str
    path: Path
    alt: str
    caption: str
    number: int
    width_mm: float
    kind: str = "figure"


@dataclass(frozen=True)
class NumberedTable:
    """A table with its number in reading order."""

    display: Display
    number: int
    kind: str = "table"


@dataclass(frozen=True)
class Verbatim:
    """Text to be shown letter for letter."""

    text: str
    kind: str = "verbatim"


Block = Paragraph | Listing | Picture | NumberedTable | Verbatim


@dataclass(frozen=True)
class Chapter:
    """A heading and what stands under it; `id` is its anchor."""

    id: str
    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class Report:
    """Everything the pages show.

    Attributes
    ----------
    title, question, study_id : of the plan
    notices : what must be known before any number is read
    studied : what was studied: label and number
    findings : four to six sentences with intervals
    chapters : in reading order
    tables : every table, by name, for `table_files.write_tables`
    """

    title: str
    question: str
    study_id: str
    notices: tuple[str, ...]
    studied: tuple[tuple[str, str], ...]
    findings: tuple[Paragraph, ...]
    chapters: tuple[Chapter, ...]
    tables: Mapping[str, Display]


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
        writer.chapter("limits", "What this cannot tell", _limits(writer)),
        writer.chapter("methods", "Methods", _methods(writer)),
        writer.chapter("versions", "Versions, plan and inputs", _versions(writer)),
    )
    return Report(
        title=study.get("title") or "Crestal sinus floor lifts",
        question=study.get("question") or "",
        study_id=study.get("id") or "",
        notices=NOTICES,
        studied=tuple(_in_numbers(material)),
        findings=tuple(_findings(writer)),
        chapters=chapters,
        tables=writer.tables,
    )


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
        return [Picture(name, path, alt_text(path), CAPTIONS[name], self.n_figures, width_mm(path))]

    def table(self, name: str) -> list[Block]:
        if name not in self.tables:
            return []
        self.n_tables += 1
        self.shown.add(name)
        return [NumberedTable(self.tables[name], self.n_tables)]


# ── the first page ──────────────────────────────────────────────────────────────────────────────────────────


def _in_numbers(material: Material) -> Iterable[tuple[str, str]]:
    stages = {row["stage"]: row for _, row in material.flow.iterrows()}
    if "in the series" in stages:
        yield "In the series", people(stages["in the series"])
    if "set aside" in stages:
        yield "Set aside", people(stages["set aside"])
    for stage, label in (("with a drilling log", "With a drilling log"), ("with a visit", "With a visit")):
        if stage in stages:
            yield label, people(stages[stage])
    rate = _first(material.rows("perforation.rate", "all"))
    if rate is not None:
        yield (
            "Perforations",
            f"{count(rate['n_events'])} at {counted(rate['n_sites'], 'site')} where it is known",
        )
    followed = _first(material.rows("survival.km", "all"))
    if followed is not None and followed["n_sites"]:
        yield (
            "Implant failures",
            f"{count(followed['n_events'])} of {counted(followed['n_sites'], 'implant')} followed",
        )


def _findings(writer: _Writer) -> Iterable[Paragraph]:
    material, words = writer.material, writer.words
    sentences = [
        _rate_sentence(material),
        _effect(_first_term(material.rows("perforation.gee")), words, "the odds of a perforation"),
        _depth_sentence(material),
        _survival_sentence(material),
        _effect(_first_term(material.rows("survival.cox")), words, "the hazard of implant failure"),
        _gain_sentence(material),
    ]
    found = [sentence for sentence in sentences if sentence is not None]
    yield from found or [Paragraph("Nothing could be estimated; the chapters say why.")]


def _rate_sentence(material: Material) -> Paragraph | None:
    rows = material.rows("perforation.rate", "all")
    row = _first(rows[rows["method"].eq("cluster") & rows["estimate"].notna()])
    row = row if row is not None else _first(rows[rows["method"].eq("exact") & rows["estimate"].notna()])
    if row is None:
        return None
    numbers = interval(row["estimate"], row["conf_low"], row["conf_high"], percent)
    crude = share_of(row["n_events"], row["n_sites"]).replace(" (", " sites where it is known (")
    kind = "with sites clustered in patients" if row["method"] == "cluster" else "sites taken as independent"
    text = f"The membrane was perforated at {crude}; the rate is {numbers}, {kind}."
    return Paragraph(text, _source(row, row["method"]))


def _depth_sentence(material: Material) -> Paragraph | None:
    rows = {row["term"]: row for _, row in material.rows("depth.agreement").iterrows() if not missing(row["estimate"])}
    if not {"bias", "low", "high"} <= set(rows):
        return None
    bias = rows["bias"]
    size, deeper = _size(bias)
    text = (
        f"The last drilled depth lay on average {size} mm {'deeper' if deeper else 'shallower'} than "
        f"planned at {counted(bias['n_sites'], 'site')}; the limits of agreement reach from "
        f"{decimal(rows['low']['estimate'])} to {decimal(rows['high']['estimate'])} mm."
    )
    return Paragraph(text, _source(bias))


def _survival_sentence(material: Material) -> Paragraph | None:
    rows = material.rows("survival.km", "all")
    row = _last(rows[rows["estimate"].notna()])
    if row is None:
        return None
    at_risk = material.at_risk[material.at_risk["subset"].eq("all") & material.at_risk["months"].eq(float(row["term"]))]
    still = f", with {count(at_risk['n_at_risk'].iloc[0])} still at risk" if len(at_risk) else ""
    text = (
        f"At {row['term']} months {interval(row['estimate'], row['conf_low'], row['conf_high'], percent)} "
        f"of the implants were in function{still}; {count(row['n_events'])} of "
        f"{counted(row['n_sites'], 'implant')} followed failed at any time."
    )
    return Paragraph(text, _source(row))


def _gain_sentence(material: Material) -> Paragraph | None:
    course = material.gain_by_visit
    if course.empty:
        return None
    year = course[course["months"].eq(12)] if course["months"].eq(12).any() else course.tail(1)
    row = year.iloc[0]
    sd = "" if missing(row["sd"]) else f" (SD {decimal(row['sd'])})"
    text = (
        f"Around month {row['months']:g} the mean bone gain was {decimal(row['mean'])} mm{sd}, from "
        f"{counted(row['n'], 'measurement')}."
    )
    return Paragraph(text, "models/gain_by_visit.csv")


# ── sentences on estimates ──────────────────────────────────────────────────────────────────────────────────


def _effect(row, words: Words, outcome: str) -> Paragraph | None:
    """What a term of a ratio model says, in one sentence."""
    if row is None:
        return None
    estimate, low, high = (exponent(row[name]) for name in ("estimate", "conf_low", "conf_high"))
    numbers = interval(estimate, low, high, ratio)
    text = f"{_compared(row, words, outcome)} {numbers} times as high" + _open(low, high, 1.0) + "."
    return Paragraph(text[0].upper() + text[1:], _source(row))


def _compared(row, words: Words, outcome: str) -> str:
    """`with each further mm of residual bone height the odds of a perforation were`."""
    was = "were" if outcome.startswith("the odds") else "was"
    name, _, level = str(row["term"]).partition("[")
    column = _small(words.column(name))
    if not level:
        return f"with each further {words.unit(name) or 'unit'} of {column} {outcome} {was}"
    told = words.term(row["term"], str(row["method"])).partition(": ")[2]
    return f"{column}, {told}: {outcome} {was}"


def _open(low: float, high: float, none: float) -> str:
    if missing(low) or missing(high):
        return ""
    return f"; the interval includes {none:g}, so the direction stays open" if low < none < high else ""


def _difference(row, words: Words) -> Paragraph:
    """What a term of the gain model says."""
    numbers, larger = _size(row)
    text = f"{_compared(row, words, 'bone gain')} {numbers} mm {'larger' if larger else 'smaller'}"
    text += _open(row["conf_low"], row["conf_high"], 0.0) + "."
    return Paragraph(text[0].upper() + text[1:], _source(row))


def _size(row) -> tuple[str, bool]:
    """A difference without its sign, with its interval, and whether it is above 0."""
    if row["estimate"] >= 0:
        return interval(row["estimate"], row["conf_low"], row["conf_high"]), True
    return interval(-row["estimate"], -row["conf_high"], -row["conf_low"]), False


def _problems(material: Material, *analyses: str) -> list[Block]:
    """What could not be estimated in these analyses, each reason once."""
    rows = material.results[material.results["analysis"].isin(analyses)]
    rows = rows[rows["problem"].fillna("").ne("")]
    items = []
    for problem, group in rows.groupby("problem", sort=False):
        places = [
            _source(row, row["method"] if row["analysis"] == "perforation.rate" else "") for _, row in group.iterrows()
        ]
        items.append(f"{listed(places)}: {problem}.")
    return [Listing("What could not be estimated in full, and why:", tuple(items))] if items else []


def _source(row, method: str = "") -> str:
    return trace(row["analysis"], row["subset"], row["term"], method)


def _first(rows: pd.DataFrame):
    return rows.iloc[0] if len(rows) else None


def _last(rows: pd.DataFrame):
    return rows.iloc[-1] if len(rows) else None


def _first_term(rows: pd.DataFrame):
    return _first(rows[~rows["term"].eq(INTERCEPT) & rows["estimate"].notna()])


def _small(text: str) -> str:
    return text[0].lower() + text[1:] if text else text


# ── the chapters ────────────────────────────────────────────────────────────────────────────────────────────


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
    if len(material.counts):
        totals = material.counts.groupby("table", sort=False)[["read", "kept", "set_aside"]].sum()
        told = [f"{name} {count(row['kept'])} of {count(row['read'])}" for name, row in totals.iterrows()]
        yield Paragraph(f"Rows kept of rows read: {listed(told)}.")
    if plan:
        terms = {
            "perforation": plan.get("perforation_terms"),
            "survival": plan.get("survival_terms"),
            "bone gain": plan.get("gain_terms"),
        }
        named = tuple(
            f"{question}: {listed([_small(writer.words.column(term)) for term in chosen])}"
            for question, chosen in terms.items()
            if chosen
        )
        yield Listing("The plan names the terms that each model takes:", named)


def _who(writer: _Writer) -> Iterable[Block]:
    material = writer.material
    stages = {row["stage"]: row for _, row in material.flow.iterrows()}
    if "in the series" in stages:
        told = [
            f"{stage}: {people(stages[stage])}" for stage in ("read", "set aside", "in the series") if stage in stages
        ]
        yield Paragraph(f"{'; '.join(told)[0].upper()}{'; '.join(told)[1:]}.")
    else:
        yield Paragraph("The run left no counts of patients and sites.")
    yield from writer.figure("flow")
    yield from writer.table("flow")
    if material.set_aside.empty:
        yield Paragraph("No row was set aside.")
    else:
        n = len(material.set_aside.drop_duplicates(["table", "file", "row"]))
        yield Paragraph(
            f"{counted(n, 'row')} of all tables {'was' if n == 1 else 'were'} set aside, with what depends on them."
        )
        yield from writer.table("set_aside")
    yield from writer.table("characteristics")
    yield from writer.figure("residual_height")
    if material.missing.empty:
        yield Paragraph("The run left no count of missing values.")
    elif not pd.to_numeric(material.missing["n_missing"]).sum():
        yield Paragraph("No value is missing in the columns looked at.")
    else:
        yield from writer.table("missing")


def _depth(writer: _Writer) -> Iterable[Block]:
    material = writer.material
    if not _has_log(material):
        yield Paragraph("The study has no drilling log, so nothing can be said of how deep was drilled.")
        return
    sentence = _depth_sentence(material)
    if sentence:
        yield sentence
    yield from writer.figure("planned_achieved")
    yield from writer.table("depth_agreement")
    whole = material.deviations[material.deviations["subset"].eq("all")]
    whole = whole[pd.to_numeric(whole["n_sites"]).gt(0)]
    if len(whole):
        ranked = whole.sort_values("share", ascending=False, kind="stable").head(3)
        told = [
            f"{_small(DEVIATIONS.get(row['deviation'], row['deviation']))} at {share_of(row['n_true'], row['n_sites'])}"
            for _, row in ranked.iterrows()
            if row["n_true"]
        ]
        if told:
            yield Paragraph(
                f"The commonest deviations from the drilling plan: {listed(told)}.", "models/deviations.csv"
            )
        else:
            yield Paragraph("No deviation from the drilling plan was found.", "models/deviations.csv")
    yield from writer.figure("deviations")
    yield from writer.table("deviations")
    yield from writer.figure("ladder_case")
    yield from _problems(material, "depth.agreement")


def _membrane(writer: _Writer) -> Iterable[Block]:
    material, words = writer.material, writer.words
    rates = material.rows("perforation.rate")
    if rates.empty or not pd.to_numeric(rates["n_sites"]).fillna(0).max():
        yield Paragraph("No site has its perforation recorded, so nothing can be said of the membrane.")
    sentence = _rate_sentence(material)
    if sentence:
        yield sentence
    for band, name in BANDS.items():
        told = []
        for _, row in rates[rates["subset"].str.startswith(f"{band}=") & rates["method"].eq("exact")].iterrows():
            level = row["subset"].partition("=")[2]
            told.append(f"{level} mm {share_of(row['n_events'], row['n_sites'])}")
        if told:
            yield Paragraph(f"By {_small(name)}: {'; '.join(told)}.", f"perforation.rate · {band}=… · rate · exact")
    yield from writer.figure("perforation_by_height")
    yield from writer.table("perforation_rate")
    gee = material.rows("perforation.gee")
    if len(gee):
        yield Paragraph(
            f"The model rests on {counted(gee['n_events'].iloc[0], 'perforation')} in "
            f"{counted(gee['n_sites'].iloc[0], 'site')} of {counted(gee['n_patients'].iloc[0], 'patient')}. "
            "Each term is held against the others."
        )
        yield from _effects(gee, words, "the odds of a perforation")
    yield from writer.figure("perforation_odds")
    yield from writer.table("perforation_odds")
    yield from _problems(material, "perforation.rate", "perforation.gee")


def _effects(rows: pd.DataFrame, words: Words, outcome: str) -> Iterable[Block]:
    for _, row in rows[~rows["term"].eq(INTERCEPT) & rows["estimate"].notna()].iterrows():
        sentence = _effect(row, words, outcome)
        if sentence:
            yield sentence


def _implants(writer: _Writer) -> Iterable[Block]:
    material, words = writer.material, writer.words
    if not _has_visits(material):
        yield Paragraph("No implant was seen at a visit, so nothing can be said of how the implants fared.")
        return
    sentence = _survival_sentence(material)
    if sentence:
        yield sentence
    else:
        yield Paragraph("No implant was followed long enough for a survival estimate.")
    yield Paragraph("A failure is dated at the visit that found it.")
    yield from writer.figure("survival")
    yield from writer.table("survival")
    yield from writer.table("numbers_at_risk")
    yield from writer.figure("survival_by_height")
    yield from writer.table("life_table")
    cox = material.rows("survival.cox")
    if len(cox):
        yield Paragraph(
            f"The model rests on {counted(cox['n_events'].iloc[0], 'failure')} in "
            f"{counted(cox['n_sites'].iloc[0], 'implant')} of "
            f"{counted(cox['n_patients'].iloc[0], 'patient')}."
        )
        yield from _effects(cox, words, "the hazard of implant failure")
    yield from writer.figure("hazard_ratios")
    yield from writer.table("hazard_ratios")
    yield from writer.table("complications")
    yield from _problems(material, "survival.km", "survival.life_table", "survival.cox")


def _bone(writer: _Writer) -> Iterable[Block]:
    material, words = writer.material, writer.words
    if not _has_visits(material):
        yield Paragraph("No implant was seen at a visit, so nothing can be said of the bone gained.")
        return
    yield Paragraph(
        "Bone gain is the bone height at a visit less the residual bone height in the middle of the footprint."
    )
    sentence = _gain_sentence(material)
    if sentence:
        yield sentence
    yield from writer.figure("gain_by_visit")
    rows = material.rows("gain.mixed")
    for _, row in rows[~rows["term"].eq(INTERCEPT) & rows["estimate"].notna()].iterrows():
        yield _difference(row, words)
    yield from writer.figure("gain_terms")
    yield from writer.table("gain_terms")
    yield from writer.table("gain_scatter")
    yield from _problems(material, "gain.mixed")


def _limits(writer: _Writer) -> Iterable[Block]:
    for text in limits(writer.material, writer.words):
        yield Paragraph(text)
    yield from writer.table("left_out")


def _methods(writer: _Writer) -> Iterable[Block]:
    for lead, text in methods(writer.material, writer.words):
        yield Paragraph(text, lead=lead)
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
    yield Paragraph("study.yaml as the run read it, every default filled in:")
    plain = json.loads(json.dumps(material.plan, default=str))
    yield Verbatim(yaml.safe_dump(plain, sort_keys=False, allow_unicode=True, width=90).rstrip())


def _reference_table(writer: _Writer, name: str, caption: str, columns: Sequence[str], rows) -> NumberedTable:
    writer.n_tables += 1
    return NumberedTable(
        Display(name, caption, tuple(columns), tuple((str(a), str(b)) for a, b in rows)), writer.n_tables
    )


def _has_log(material: Material) -> bool:
    judged = pd.to_numeric(material.deviations["n_sites"]).fillna(0).sum() if len(material.deviations) else 0
    return bool(judged)


def _has_visits(material: Material) -> bool:
    followed = material.results[material.results["analysis"].isin(["survival.km", "gain.mixed"])]
    return bool(pd.to_numeric(followed["n_sites"]).fillna(0).sum()) if len(followed) else False
