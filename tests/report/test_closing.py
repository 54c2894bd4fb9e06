"""The closing chapters: limits that the data bear out, one list of what was not possible, an index of every row."""

import re
from dataclasses import replace

import pandas as pd
import pytest

from liftseries.models.questions import QUESTIONS, questions_for
from liftseries.models.shared.results import DESIGN_EFFECT
from liftseries.report.closing.checklist import ITEMS, checklist
from liftseries.report.closing.index import HEADINGS, design_effects, in_short, lines_of, terms_in_short
from liftseries.report.closing.limits import few_events, goes_with_protocol, limits, three_limits
from liftseries.report.closing.not_possible import SUBJECTS, items
from liftseries.report.closing.report_chapter import blocks, methods
from liftseries.report.kit.material import Material
from liftseries.report.kit.words import trace_of
from liftseries.report.kit.writer import Writer, write
from liftseries.report.languages.english import TEMPLATES
from liftseries.report.purposes import purpose

PUBLICATION = purpose("publication")
CODES = re.compile(r"[a-z]_[a-z]|\b(perforation|survival|gain|depth|series|bone)\.[a-z]|\[|·|GLOBAL")


def writer(material: Material) -> Writer:
    return Writer(PUBLICATION, material)


def with_tables(material: Material, **tables) -> Material:
    return replace(material, tables={**material.tables, **tables})


def with_events(material: Material, analysis: str, n: int) -> Material:
    """The same with that many events in every row of an analysis."""
    results = material.results.copy()
    here = results["analysis"].eq(analysis) & results["subset"].eq("all")
    results.loc[here, "n_events"] = n
    return with_tables(material, results=results)


# ── limits ────────────────────────────────────────────────────────────────────────────────────────────────────────
@pytest.mark.parametrize("kind", ["full", "tiny", "one_level", "no_visits_no_log"])
def test_three_limits_are_three_short_sentences_without_a_code(materials, kind):
    told = three_limits(materials[kind])
    assert len(told) == 3
    assert told[0].startswith("Nothing was randomised")
    for text in told:
        assert len(text) < 260
        assert not CODES.search(text), text


def by_protocol(*shares: float) -> pd.DataFrame:
    rows = [
        ("site", "approach", level, f"protocol={protocol}", share if level == "guided" else 1 - share)
        for protocol, share in zip("ABC", shares, strict=False)
        for level in ("guided", "freehand")
    ]
    table = pd.DataFrame(rows, columns=["unit", "column", "level", "subset", "share"])
    return table.assign(n=10, n_known=10, n_missing=0)


def test_approach_that_goes_with_protocol_is_told_with_its_numbers(materials):
    told = with_tables(materials["full"], characteristics=by_protocol(0.785, 0.4, 0.144))
    assert "guided at 78.5% of sites under protocol A, 14.4% under C" in three_limits(told)[0]
    alike = with_tables(materials["full"], characteristics=by_protocol(0.55, 0.5, 0.45))
    few = with_tables(told, characteristics=told.table("characteristics").assign(n_known=9))
    assert goes_with_protocol(few) == goes_with_protocol(alike) == ""
    assert "protocol" not in three_limits(alike)[0]


def test_few_events_are_told_with_their_number_and_many_are_not(materials):
    told = materials["full"]
    assert few_events(with_events(told, "perforation.firth", 19)).startswith("19 perforations for 2 terms")
    many = told.results.assign(n_events=400)
    assert few_events(with_tables(told, results=many)) == ""
    none = with_tables(told, results=told.results.assign(n_events=0))
    assert few_events(none).startswith("No implant failed and no membrane was perforated")


def test_limits_of_follow_up_stay_unsaid_where_nobody_was_followed(materials):
    def leads(kind):
        return [one.lead for one in limits(materials[kind])]

    assert {"Follow-up", "Drilling log", "A shared measurement"} <= set(leads("full"))
    assert not {"Follow-up", "Drilling log", "A shared measurement"} & set(leads("no_visits_no_log"))
    assert "Detection" in leads("no_visits_no_log")


def test_implants_lost_are_those_of_the_last_month_that_was_due(materials):
    table = materials["full"].table("followup_by_month")
    row = table[table["n_lost"].gt(0)].iloc[-1].astype(int)
    (told,) = [one for one in limits(materials["full"]) if one.lead == "Follow-up"]
    assert row["n_lost"] > 1
    months, n_due, n_lost = row["months"], row["n_due"], row["n_lost"]
    assert f"Of {n_due} implants due at month {months}, {n_lost} implants were lost" in told.text
    assert told.source == f"followup.completeness · all · {months}"
    held = with_tables(materials["full"], followup_by_month=table.assign(n_lost=-1))
    (told,) = [one for one in limits(held) if one.lead == "Follow-up"]
    assert "were lost" not in told.text  # nothing is said of a number that is not told


# ── methods in short ──────────────────────────────────────────────────────────────────────────────────────────────
def test_methods_are_at_most_twelve_sentences_with_the_numbers_of_the_plan(materials):
    told = methods(materials["full"])
    assert len(told) <= 12
    assert all(text.count(". ") == 0 for text in told)
    text = " ".join(told)
    assert "1 mm (guided) or 1.5 mm (freehand)" in text
    assert "depths within 0.05 mm" in text
    assert "logistic model of residual bone height and approach" in text


def test_methods_are_of_what_the_series_has(materials):
    text = " ".join(methods(materials["no_visits_no_log"]))
    for word in ("ladder", "Kaplan-Meier", "Cox", "Bone gain"):
        assert word in " ".join(methods(materials["full"]))
        assert word not in text


@pytest.mark.parametrize("kind", ["full", "tiny", "one_level", "no_visits_no_log", "empty"])
def test_the_last_chapter_speaks_without_codes(materials, kind):
    for block in blocks(writer(materials[kind])):
        assert not CODES.search(block.text), block.text
    for item in items(materials[kind]):
        assert not CODES.search(item), item


# ── what was not possible ─────────────────────────────────────────────────────────────────────────────────────────
def test_every_question_has_a_subject():
    """Of those that the publication asks: no other report tells what was not possible."""
    of_it = questions_for(["publication"])
    asked = {question.name for question in of_it if any(a.name != DESIGN_EFFECT for a in question.analyses)}
    assert asked <= set(SUBJECTS)
    assert set(SUBJECTS) <= {question.name for question in QUESTIONS}
    assert set(SUBJECTS.values()) <= set(TEMPLATES)


def test_a_whole_table_that_is_missing_is_said_once(materials):
    told = items(materials["no_visits_no_log"])
    assert sum("There is no drilling log" in item for item in told) == 1
    assert sum("No implant was seen at a visit" in item for item in told) == 1
    text = " ".join(told)
    assert "agreement of achieved" not in text
    assert "months in function" not in text
    assert not any("no such site" in item for item in told)
    for item in items(materials["full"]):
        assert "There is no drilling log" not in item
        assert "No implant was seen" not in item


def test_each_reason_and_each_subject_stands_once(materials):
    for kind in ("tiny", "one_level", "no_visits_no_log"):
        told = items(materials[kind])
        assert told
        reasons = [item.partition(": ")[2] for item in told if ": " in item]
        assert len(reasons) == len(set(reasons))
        text = " ".join(told).lower()
        for name in set(SUBJECTS.values()) - {"closing.of_survival", "closing.of_gain", "closing.of_complications"}:
            assert text.count(TEMPLATES[name]) <= 1, TEMPLATES[name]


def gated(material: Material, n_events: int) -> Material:
    """The same series with that many failures: its hazards no headline, as below the gate."""
    results = with_events(material, "followup.failures", n_events).results.copy()
    hazards = results["analysis"].isin(["survival.firth_cox", "survival.cox", "survival.imputed"])
    unit = "event" if n_events == 1 else "events"
    results.loc[hazards, ["headline", "note"]] = [False, f"{n_events} {unit}: too few for a ratio"]
    return with_tables(material, results=results)


def test_few_failures_are_the_reason_of_all_that_they_do_not_suffice_for(materials):
    (item,) = [item for item in items(gated(materials["full"], 3)) if "failures" in item]
    assert item.startswith("3 failures are too few for ")
    assert "associations with implant failure" in item
    assert any(one.startswith("1 failure is too few for ") for one in items(gated(materials["full"], 1)))
    assert any(one.startswith("No implant failed, so that") for one in items(gated(materials["full"], 0)))
    assert not any("failure" in one for one in items(materials["full"]))


def test_what_is_withheld_or_was_not_recorded_needs_no_word(materials):
    told = materials["full"]
    hidden = told.results.assign(estimate=None, headline=False, problem="withheld", note="")
    assert items(with_tables(told, results=hidden)) == ()
    unrecorded = told.results.assign(estimate=None, headline=False, problem="recorded at no site", note="")
    assert items(with_tables(told, results=unrecorded)) == ()
    assert items(with_tables(told, results=told.results.iloc[:0])) == ()


def test_months_with_too_few_at_risk_are_named(materials):
    results = materials["full"].results.copy()
    late = results["analysis"].eq("survival.km") & results["subset"].eq("all") & results["term"].eq("60")
    results.loc[late, "note"] = "12 implants at risk: too few to quote"
    assert any("were at risk at 60 months" in item for item in items(with_tables(materials["full"], results=results)))


# ── checklist and index ───────────────────────────────────────────────────────────────────────────────────────────
def test_the_checklist_leads_to_chapters_that_are_there(materials):
    declared = {(document.name, chapter.id) for document in PUBLICATION.documents for chapter in document.chapters}
    assert {place for _, _, places in ITEMS for place in places} <= declared
    for kind in ("full", "no_visits_no_log"):
        written = write(PUBLICATION, materials[kind])
        there = {(report.name, chapter.id) for report in written.reports for chapter in report.chapters}
        (places,) = [
            block
            for report in written.reports
            for chapter in report.chapters
            for block in chapter.blocks
            if block.kind == "places"
        ]
        assert len(places.items) == len(ITEMS)
        found = {(place.document, place.chapter) for _, of_item in places.items for place in of_item}
        assert found <= there
        assert len(found) > 5


def test_the_checklist_numbers_its_items_in_order(materials):
    *_, places = checklist(writer(materials["full"]))
    numbers = [int(re.match(r"\d+", text)[0]) for text, _ in places.items]
    assert numbers == sorted(numbers)
    assert set(numbers) == set(range(1, 23))


@pytest.mark.parametrize("kind", ["full", "tiny", "no_visits_no_log", "empty"])
def test_the_index_has_every_row_of_results(materials, kind):
    """By the rows alone: analysis, method, subset and term of each are in exactly one line."""
    results = materials[kind].results
    keys = [trace_of(row) for _, row in results.iterrows()]
    printed = {key: [f"Table {k % 3}"] for k, key in enumerate(keys) if k % 4}
    lines = lines_of(results, printed)
    in_lines = [
        (line.analysis, method, subset, term)
        for line in lines
        for method in line.methods
        for subset in line.subsets
        for term in line.terms
    ]
    rows = results[results["analysis"].ne(DESIGN_EFFECT)]
    of_rows = list(zip(rows["analysis"], rows["method"].fillna(""), rows["subset"], rows["term"], strict=True))
    assert len(in_lines) == len(set(in_lines))
    assert set(in_lines) == {(a, m, s, str(t)) for a, m, s, t in of_rows}
    for line in lines:
        for method in line.methods:
            here = rows[rows["analysis"].eq(line.analysis) & rows["method"].fillna("").eq(method)]
            here = here[here["subset"].isin(line.subsets) & here["term"].astype(str).isin(line.terms)]
            assert {tuple(printed.get(trace_of(row), ())) for _, row in here.iterrows()} == {line.places}
    told = sum(int(re.search(r": (\d+)$", line.terms[0])[1]) for line in design_effects(results, printed))
    assert told == int(results["analysis"].eq(DESIGN_EFFECT).sum())


def test_the_index_is_the_last_table_and_says_what_no_page_prints(materials):
    supplement = write(PUBLICATION, materials["full"]).reports[-1]
    (table,) = [block.display for block in supplement.chapters[-1].blocks if block.kind == "table"]
    assert table.columns == HEADINGS
    places = [row[-1] for row in table.rows]
    assert "results.csv only" in places
    assert any(place.startswith("Table S") for place in places)
    assert len(table.rows) < len(materials["full"].results) / 3


def test_an_index_says_what_names_begin_with_once():
    assert in_short(("all", "protocol=A", "protocol=B", "centre=x")) == "all, protocol=A/B, centre=x"
    assert terms_in_short(("fluid_ml n", "fluid_ml mean", "12")) == "fluid_ml n, mean; 12"
