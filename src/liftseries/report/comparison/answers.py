"""The first page of a comparison: the answers, the outcomes a line each, the limits."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from liftseries.models.comparison.balance import BALANCE, EFFECTIVE_PATIENTS, NEAR_EDGE, SAMPLE
from liftseries.models.comparison.strength import DETECTABLE, EVALUE_ANALYSIS
from liftseries.report.closing.as_read import empty_outcomes
from liftseries.report.comparison.compared import OUTCOMES, Comparison, comparison_of
from liftseries.report.comparison.sentences import difference, margin_in_words, verdict, written
from liftseries.report.kit.blocks import Answer, Answers, Block, Listing, Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import decimal, missing
from liftseries.report.kit.sentences import small, source
from liftseries.report.kit.writer import Writer
from liftseries.report.languages.say import say

MOST_TOLD = 3  # groups beside the reference of which the first page tells one by one
BALANCED = 0.1  # of a standardised difference; common practice, no source
NEAR_EDGE_MATTERS = 0.1  # of a group's sites; our convention
TORN = OUTCOMES["perforation"]


def blocks(writer: Writer) -> Iterable[Block]:
    """The page for two minutes."""
    material = writer.material
    comparison = comparison_of(material)
    if comparison.why_nothing:
        yield Paragraph(say("comparison.nothing", why=comparison.why_nothing))
        return
    yield who(comparison)
    answers = (registered, alike, primary, explained, settled_by)
    yield Answers(tuple(filter(None, (answer(material, comparison) for answer in answers))))
    if len(comparison.others) <= MOST_TOLD:
        yield from writer.table("comparison_secondary")
    yield Listing(say("comparison.limits"), limits(material, comparison))


def who(comparison: Comparison) -> Paragraph:
    """The groups, with their sites and patients."""
    told, keys = [], []
    for level in comparison.levels:
        rows = comparison.rows(TORN, f"risk[{level}]")
        row = rows.iloc[0]
        told.append(
            say("comparison.group", group=comparison.named(level), sites=row["n_sites"], patients=row["n_patients"])
        )
        keys.append(source(row))
    reference = comparison.named(comparison.reference)
    terms = say("comparison.adjusted", terms=comparison.terms) if comparison.terms else say("comparison.adjusted_none")
    return Paragraph(say("comparison.who", groups=told, reference=reference, adjusted=terms), "; ".join(keys))


def registered(material: Material, comparison: Comparison) -> Answer:
    """Whether the comparison was registered, and what changed since."""
    entry = comparison.asked["registered"]
    lead, changed = say("comparison.lead_registered"), _changed(comparison.asked["changed"])
    if not any(entry.values()):
        text = " ".join(filter(None, (say("comparison.not_registered"), changed)))
        return Answer(lead, text, say("comparison.sure_not_registered"))
    told = [entry["registry"] or say("comparison.registry_unnamed")]
    told += [entry["number"]] if entry["number"] else []
    told += [entry["date"]] if entry["date"] else []
    text = say("comparison.registered", entry=", ".join(told))
    return Answer(lead, f"{text} {changed or say('comparison.unchanged')}", say("comparison.sure_registered"))


def _changed(changes: Sequence[str]) -> str:
    """What the plan lists as changed, as it stands there; "" where it lists nothing."""
    if not changes:
        return ""
    each = [" ".join(one.split()).rstrip(".;") for one in changes]
    return say("comparison.changed", n=len(each), changes="; ".join(each))


# ── alike enough? ───────────────────────────────────────────────────────────────────────────────────────────


def sample_row(material: Material, comparison: Comparison, level: str, term: str):
    """What the weights leave of a group; None where there are none."""
    rows = material.quoted(SAMPLE)
    rows = rows[rows["subset"].eq(f"group={level}") & rows["term"].eq(term)]
    return rows.iloc[0] if len(rows) else None


def largest_differences(material: Material, comparison: Comparison, level: str) -> tuple[float, float]:
    """The largest standardised difference of a term, before weighting and after; NaN where there is none."""
    rows = material.rows(BALANCE, f"group={level}")
    sizes = rows["estimate"].astype(float).abs()
    before, after = rows["method"].eq("crude"), rows["method"].eq(comparison.asked["weights"][0])
    return tuple(float(sizes[chosen].max()) if sizes[chosen].notna().any() else math.nan for chosen in (before, after))


def alike(material: Material, comparison: Comparison) -> Answer:
    """Which share of the sites has a like in the other groups, and what is left of the groups when weighted."""
    lead = say("comparison.lead_alike")
    sites, patients, keys, edges = [], [], [], []
    for level in comparison.levels:
        edge, left = (sample_row(material, comparison, level, term) for term in (NEAR_EDGE, EFFECTIVE_PATIENTS))
        if edge is None or left is None:
            continue
        edges.append(edge["estimate"])
        name = comparison.named(level)
        sites.append(say("comparison.edge", share=1 - edge["estimate"], group=name))
        patients.append(
            say("comparison.effective", n=f"{left['estimate']:.0f}", patients=left["n_patients"], group=name)
        )
        keys += [source(edge), source(left)]
    refused = [level for level in comparison.others if comparison.contrast(TORN, level) is None]
    if not sites:
        return Answer(lead, say("comparison.not_alike", why=_why_no_weights(material, comparison)))
    text = say("comparison.alike", sites=sites, patients=patients)
    sizes = [largest_differences(material, comparison, level) for level in comparison.others]
    known = [pair for pair in sizes if not any(map(math.isnan, pair))]
    before, after = (max(pair[k] for pair in known) for k in (0, 1)) if known else (math.nan, math.nan)
    sure = []
    if known:
        sure.append(say("comparison.balance", before=decimal(before), after=decimal(after)))
    apart = [level for level in refused if comparison.tied(level)]
    if apart:
        sure.append(say("comparison.alike_but_tied", groups=[comparison.named(level) for level in apart]))
    elif known and after <= BALANCED and max(edges) <= NEAR_EDGE_MATTERS:
        sure.append(say("comparison.alike_enough"))
    else:
        sure.append(say("comparison.alike_not_enough"))
    return Answer(lead, text, " ".join(sure), "; ".join(keys))


def _why_no_weights(material: Material, comparison: Comparison) -> str:
    """Why there are no weights."""
    rows = material.rows(SAMPLE)
    problems = [str(problem) for problem in rows["problem"] if not missing(problem)]
    return material.words.problem(problems[0]) if problems else say("comparison.nothing_recorded")


# ── the primary outcome ─────────────────────────────────────────────────────────────────────────────────────


def primary(material: Material, comparison: Comparison) -> Answer:
    """The primary outcome, its interval beside the difference that matters, group by group."""
    outcome = comparison.primary
    rows = {level: comparison.contrast(outcome, level) for level in comparison.others}
    lead = say("comparison.lead_primary", what=say(f"comparison.name_{outcome.name}"))
    keys = "; ".join(source(row) for row in rows.values() if row is not None)
    if len(rows) > MOST_TOLD:
        return Answer(lead, " ".join(_grouped(comparison, rows)), say("comparison.see_table"), keys)
    told, problems = [], []
    for level, row in rows.items():
        if row is None:
            why = comparison.why(outcome, level)
            told.append(say("comparison.no_effect", group=comparison.named(level), why=why))
            continue
        name, problem = verdict(row, comparison.margin, comparison.words)
        told.append(f"{difference(outcome, comparison, level, row)} {_verdict_in_words(comparison, name)}")
        if row["method"] == "crude":
            problems.append(say("comparison.is_unadjusted", group=comparison.named(level)))
        if problem:
            problems.append(say("comparison.has_problem", group=comparison.named(level), problem=problem))
    return Answer(lead, " ".join(told), " ".join(problems), keys)


def _verdict_in_words(comparison: Comparison, name: str) -> str:
    if comparison.margin is None or name == "open_problem":
        return say(f"comparison.verdict_{name}")
    return say(f"comparison.verdict_{name}", margin=margin_in_words(comparison.primary, comparison.margin))


def _grouped(comparison: Comparison, rows) -> Iterable[str]:
    """Many groups, told by what their intervals say."""
    found: dict[str, list[str]] = {}
    for level, row in rows.items():
        name = "no_effect" if row is None else verdict(row, comparison.margin, comparison.words)[0]
        found.setdefault(name, []).append(comparison.named(level))
    for name, groups in found.items():
        yield say(f"comparison.many_{name}", groups=groups)


# ── what could explain it, what would settle it ─────────────────────────────────────────────────────────────


def explained(material: Material, comparison: Comparison) -> Answer | None:
    """A factor that nobody recorded, operators, years."""
    told, keys = [], []
    shown = [level for level in comparison.others if comparison.contrast(TORN, level) is not None][:MOST_TOLD]
    for level in shown:
        rows = material.quoted(EVALUE_ANALYSIS)
        rows = rows[rows["subset"].eq("all")]
        ratio, limit = (rows[rows["term"].eq(f"{name}[{level}]")] for name in ("ratio", "limit"))
        if ratio.empty or limit.empty:
            continue
        holes = {"group": comparison.named(level), "ratio": ratio["estimate"].iloc[0]}
        to_limit = limit["estimate"].iloc[0]
        if to_limit > 1:
            told.append(say("comparison.evalue", limit=to_limit, **holes))
        else:
            told.append(say("comparison.evalue_open", **holes))
        keys += [source(ratio.iloc[0]), source(limit.iloc[0])]
    if told:
        told.insert(0, say("comparison.unseen"))
    told += _of_operators_and_years(comparison)
    asked = comparison.compares or any(map(comparison.tied, comparison.others))
    return Answer(say("comparison.lead_explained"), " ".join(told), source="; ".join(keys)) if told and asked else None


def _of_operators_and_years(comparison: Comparison) -> Sequence[str]:
    told = []
    for column, name in (("operator", "operators"), ("surgery_year", "years")):
        shared = {level: comparison.shared(column, level) for level in comparison.others}
        known = {level: share for level, share in shared.items() if share is not None}
        if not known:
            told.append(say(f"comparison.no_{name}"))
            continue
        least = min(known, key=known.get)
        holes = {"share": known[least], "reference": comparison.named(comparison.reference)}
        told.append(say(f"comparison.shared_{name}", group=comparison.named(least), **holes))
    return told


def settled_by(material: Material, comparison: Comparison) -> Answer | None:
    """How many patients a group would show the difference that matters; told of the tear alone."""
    rows = material.quoted(DETECTABLE)
    rows = rows[rows["subset"].eq("all")]
    told, keys = [], []
    for level in comparison.others[:MOST_TOLD]:
        found = rows[rows["term"].eq(f"difference[{level}]")]
        if found.empty or comparison.primary is not TORN or comparison.contrast(TORN, level) is None:
            continue
        row = found.iloc[0]
        holes = {"group": comparison.named(level)}
        keys.append(source(row))
        if comparison.margin is None:
            told.append(say("comparison.detectable", size=written(TORN, row["estimate"]), **holes))
            continue
        n = patients_needed(row["n_patients"], row["estimate"], comparison.margin)
        name = "large_enough" if row["estimate"] <= comparison.margin else "needs"
        holes |= {"margin": margin_in_words(TORN, comparison.margin)}
        holes |= {"n": n, "now": f"{row['n_patients'] / 2:.0f}"} if name == "needs" else {}
        told.append(say(f"comparison.{name}", **holes))
    if not told:
        return None
    sure = say("comparison.sure_needs" if comparison.margin is not None else "comparison.sure_detectable")
    return Answer(say("comparison.lead_settled"), " ".join(told), sure, "; ".join(keys))


def patients_needed(n_patients: float, detectable: float, margin: float) -> int:
    """Patients a group, on average of the two: as many as now times (detectable / margin)², in tens."""
    return math.ceil(n_patients / 2 * (detectable / margin) ** 2 / 10 - 1e-9) * 10


def limits(material: Material, comparison: Comparison) -> tuple[str, ...]:
    """What the comparison cannot tell."""
    told = [say("comparison.limit_not_randomised"), *filter(None, empty_outcomes(material)[:1])]
    rows = material.left_out
    rows = rows[rows["analysis"].eq(comparison.primary.analysis) & rows["subset"].eq("all")]
    if len(rows):
        reasons = [
            say(
                "comparison.left_out_item",
                n=row["n_sites"],
                reason=small(material.words.reason(str(row["reason"]))),
            )
            for _, row in rows.iterrows()
            if not missing(row["n_sites"])
        ]
        told.append(say("comparison.limit_left_out", reasons=reasons))
    n = sum(
        comparison.contrast(outcome, level) is not None
        for outcome in comparison.secondary
        for level in comparison.others
    )
    if n:
        told.append(say("comparison.limit_many", n=n))
    return tuple(told)
