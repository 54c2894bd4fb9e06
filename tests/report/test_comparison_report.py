"""The comparison's report: what it says of made-up groups, and what it does not say."""

import math
import re
from dataclasses import replace

import pandas as pd
import pytest
from made_comparison import KINDS

from liftseries.report.comparison.answers import patients_needed, registered
from liftseries.report.comparison.compared import OUTCOMES, Comparison, comparison_of
from liftseries.report.comparison.report_chapters import UNLIKE, unlike_and_not_adjusted_for
from liftseries.report.comparison.sentences import sized, verdict
from liftseries.report.comparison.tables import disagreeing
from liftseries.report.kit.words import Words
from liftseries.report.pages.page import render_html

TORN = OUTCOMES["perforation"]
NOTHING = ("one", "elsewhere", "empty")  # kinds of which nothing can be compared
REFUSED = ("separated", "tied", "years", *NOTHING)


@pytest.fixture(scope="module")
def found(compared, tmp_path_factory):
    """Kind -> material and what was written."""
    return {kind: one.written_in(tmp_path_factory.mktemp(kind)) for kind, one in compared.items()}


def chapters(found, kind, document=0):
    return {chapter.id: chapter for chapter in found[kind][1].reports[document].chapters}


def words_of(chapter) -> str:
    """All that a chapter says, its tables too."""
    told = []
    for block in chapter.blocks:
        told += [getattr(block, "text", ""), *([block.caption, block.alt] if block.kind == "figure" else [])]
        told += [part for one in getattr(block, "items", ()) for part in _words_of(one)]
        if block.kind == "table":
            told += [block.display.caption, block.display.note, *block.display.columns]
            told += [cell for row in block.display.rows for cell in row]
    return " ".join(told)


def _words_of(item):
    if isinstance(item, str):
        return [item]
    return [item[0]] if isinstance(item, tuple) else [item.lead, item.text, item.sure]


def answers(found, kind) -> dict[str, str]:
    blocks = chapters(found, kind)["answers"].blocks
    return {one.lead: f"{one.text} {one.sure}" for block in blocks if block.kind == "answers" for one in block.items}


def table(found, kind, name):
    return found[kind][1].tables[f"comparison_{name}"]


# ── worked by hand ──────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("low", "high", "margin", "name"),
    [
        (0.06, 0.20, 0.05, "settled"),
        (-0.20, -0.05, 0.05, "settled"),
        (0.01, 0.20, 0.05, "differs"),
        (-0.04, 0.04, 0.05, "none"),
        (0.01, 0.04, 0.05, "none"),
        (-0.01, 0.06, 0.05, "open"),
        (-0.06, 0.04, 0.05, "open"),
        (0.01, 0.04, None, "differs_alone"),
        (-0.01, 0.04, None, "open_alone"),
    ],
)
def test_an_interval_beside_the_difference_that_matters(low, high, margin, name):
    row = pd.Series({"conf_low": low, "conf_high": high, "problem": math.nan})
    assert verdict(row, margin, Words()) == (name, "")


def test_a_row_with_a_problem_is_open_whatever_its_interval():
    row = pd.Series({"conf_low": 0.2, "conf_high": 0.3, "problem": "operators differ"})
    assert verdict(row, 0.05, Words()) == ("open_problem", "operators differ")


def test_patients_needed_scale_with_the_square_of_the_detectable_difference():
    """331 patients in both groups and 6.26 of 100 found: 165.5 × (6.26 / 5)² = 259.4, in tens."""
    assert patients_needed(331, 0.0626, 0.05) == 260
    assert patients_needed(200, 0.05, 0.05) == 100
    assert patients_needed(200, 0.10, 0.05) == 400


def test_differences_are_told_of_100_sites():
    assert sized(TORN, 0.031) == "3.1 more"
    assert sized(TORN, -0.031) == "3.1 fewer"
    assert sized(OUTCOMES["gain"], -0.07) == "0.07 mm less"


def compared_by(cells) -> Comparison:
    """Groups A and B with their sites by operator and year, and no results but which groups there are."""
    entangled = pd.DataFrame(cells, columns=["group", "operator", "surgery_year", "n_sites"])
    rows = [("comparison.perforation", "all", f"risk[{level}]", "crude", False, None, None, None) for level in "AB"]
    columns = ["analysis", "subset", "term", "method", "headline", "estimate", "conf_low", "problem"]
    results = pd.DataFrame(rows, columns=columns).assign(n_sites=10, note=None)
    return Comparison(results, entangled, {"groups": "protocol", "reference": "A"}, [12, 60, 24], Words())


def test_what_two_groups_share_of_operators_and_years():
    """Operators: A 3/4 and 1/4, B 1/2 and 1/2: 1/2 + 1/4. Years: A all in 2018, B half of the known ones."""
    found = compared_by(
        [
            ("A", "o1", "2018", 30),
            ("A", "o2", "2018", 10),
            ("B", "o1", "2018", 5),
            ("B", "o2", "2019", 5),
            ("B", "unknown", "unknown", 7),
        ]
    )
    assert found.shared("operator", "B") == pytest.approx(0.75)
    assert found.shared("surgery_year", "B") == pytest.approx(0.5)
    assert not found.tied_to_years("B")


def test_groups_of_other_years_are_tied_to_them_and_unknown_years_to_nothing():
    apart = compared_by([("A", "o1", "2018", 19), ("A", "o1", "2019", 1), ("B", "o1", "2019", 20)])
    assert apart.tied_to_years("B")
    assert "different years" in apart.why(TORN, "B")
    assert not compared_by([("A", "o1", "unknown", 19), ("B", "o1", "2019", 20)]).tied_to_years("B")


def test_survival_is_told_at_a_month_that_no_result_chooses():
    assert compared_by([]).month == 60
    assert Comparison(pd.DataFrame(), pd.DataFrame(), {}, [12, 24, 36, 60], Words()).month == 36


# ── what the pages say ──────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("kind", NOTHING)
def test_where_nothing_can_be_compared_one_sentence_says_so(found, kind):
    assert set(chapters(found, kind)) == {"answers"}
    (block,) = chapters(found, kind)["answers"].blocks
    assert block.text.startswith("Nothing is compared: ")


@pytest.mark.parametrize("kind", REFUSED)
def test_no_effect_is_printed_where_groups_cannot_be_told_apart(found, kind):
    told = " ".join(map(words_of, chapters(found, kind).values()))
    assert "95% interval" not in told
    assert "comparison_secondary" not in found[kind][1].tables
    assert "comparison_by_method" not in found[kind][1].tables
    assert not {"comparison_differences", "comparison_survival"} & set(found[kind][0].figures)


@pytest.mark.parametrize(("kind", "why"), [("tied", "group and operator"), ("years", "different years")])
def test_a_tied_group_is_told_on_page_one_and_at_a_glance(found, kind, why):
    assert why in answers(found, kind)["Primary outcome: perforation of the membrane"]
    assert table(found, kind, "glance").rows[1][-1] == "cannot be told apart"
    assert why in words_of(chapters(found, kind)["groups"])


def test_the_primary_outcome_is_the_row_of_results(found):
    material, _ = found["two"]
    rows = material.quoted("comparison.perforation")
    row = rows[rows["subset"].eq("all") & rows["term"].eq("difference[B]")].iloc[0]
    told = answers(found, "two")["Primary outcome: perforation of the membrane"]
    assert f"{100 * abs(row['estimate']):.1f} {'more' if row['estimate'] > 0 else 'fewer'} perforated" in told


def test_a_measured_primary_outcome_is_told_in_mm_and_tears_are_secondary(found):
    assert "mm" in answers(found, "centre")["Primary outcome: bone gain at 12 months"]
    assert "What would settle it?" not in answers(found, "centre")
    assert table(found, "centre", "secondary").rows[0][0] == "Perforated, of 100 sites"


def test_without_a_margin_nothing_is_settled_and_no_patients_are_given(found):
    told = answers(found, "no_log")
    assert "not set" in told["Primary outcome: perforation of the membrane"]
    assert "patients in each group" not in told["What would settle it?"]


def test_what_nobody_recorded_has_no_line(found):
    assert not any("function" in row[0] for row in table(found, "no_visits", "secondary").rows)
    assert not any("deeper" in row[0] for row in table(found, "no_log", "secondary").rows)
    assert "as-drilled" not in chapters(found, "no_log")
    assert {"groups", "differences", "as-drilled"} <= set(chapters(found, "two"))


def test_who_fell_out_adds_up(found):
    for row in table(found, "three", "fallen_out").rows:
        n_sites, _, n_planned, n_fallen = map(int, row[1:])
        assert n_sites == n_planned + n_fallen


@pytest.mark.parametrize("kind", KINDS)
def test_tables_are_no_wider_and_characteristics_no_longer_than_agreed(found, kind):
    tables = found[kind][1].tables
    assert all(len(one.columns) <= 8 for one in tables.values())
    if "comparison_characteristics" in tables:
        assert len(tables["comparison_characteristics"].rows) <= 25


def test_many_groups_stand_in_the_chapter_and_not_on_page_one(found):
    assert not [block for block in chapters(found, "many")["answers"].blocks if block.kind == "table"]
    assert "comparison_outcomes" in found["many"][1].tables
    assert "comparison_differences" not in found["many"][0].figures


def test_inverse_probability_stands_in_the_supplement_where_it_is_asked(found):
    assert "Inverse probability weights" in table(found, "three", "by_method").columns
    assert "Inverse probability weights" not in table(found, "two", "by_method").columns


def test_g_computation_is_told_where_it_lies_more_than_a_standard_error_away(found):
    material, _ = found["two"]
    results = material.results.copy()
    chosen = results["term"].eq("difference[B]") & results["subset"].eq("all")
    chosen &= results["analysis"].eq("comparison.perforation") & results["method"].eq("g_computation")
    error = results.loc[results["term"].eq("difference[B]") & results["headline"].eq(True), "std_error"].iloc[0]
    args = (material.table("comparison_entangled"), material.asked["comparison"], [36], material.words)
    before = disagreeing(Comparison(results, *args))
    results.loc[chosen, "estimate"] += 5 * error
    assert len(disagreeing(Comparison(results, *args))) == len(before) + 1


def test_what_is_unlike_and_not_adjusted_for_is_named_and_terms_are_not(found):
    material, _ = found["two"]
    table = material.table("comparison_characteristics").copy()
    table.loc[table["column"].isin(["approach", "rbh_mid_mm"]) & table["subset"].eq("protocol=B"), "smd"] = 2 * UNLIKE
    changed = {**material.tables, "comparison_characteristics": table}
    named = unlike_and_not_adjusted_for(replace(material, tables=changed), comparison_of(material))
    assert named[0] == "approach"
    assert "residual bone height" not in named


@pytest.mark.parametrize("kind", KINDS)
def test_pages_hold_no_code(found, kind):
    for report in found[kind][1].reports:
        told = " ".join(words_of(chapter) for chapter in report.chapters if chapter.id not in ("index", "versions"))
        assert not re.search(r"\b(nan|None|smd|g_computation|as_drilled|rbh_\w+|n_sites|inverse_probability)\b", told)
        assert render_html(report)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind not in NOTHING])
def test_each_item_of_the_checklists_that_is_not_the_authors_has_a_place(found, kind):
    items = [
        item for block in chapters(found, kind, 1)["checklist"].blocks if block.kind == "places" for item in block.items
    ]
    places = {place.chapter for _, of in items for place in of}
    assert places <= {chapter.id for report in found[kind][1].reports for chapter in report.chapters}
    if kind == "two":
        assert [text for text, of in items if not of and "author" not in text] == []


# ── registered, and what changed since ──────────────────────────────────────────────────────────────────────────

ENTRY = {"registry": "a registry", "number": "17", "date": "2024-03"}
UNREGISTERED = dict.fromkeys(ENTRY, "")


@pytest.mark.parametrize(
    ("entry", "changed", "told"),
    [
        (ENTRY, [], "Yes, as the plan says: a registry, 17, 2024-03. No change since registration was declared."),
        (ENTRY, ["Smoking was added."], "2024-03. 1 change declared since: Smoking was added."),
        (ENTRY, ["A\nwas <b>left</b> out", "B;"], "2 changes declared since: A was <b>left</b> out; B."),
        (UNREGISTERED, [], "No: the plan names no registration."),
        (UNREGISTERED, ["B."], "No: the plan names no registration. 1 change declared since: B."),
    ],
)
def test_page_one_says_what_changed_since_the_registration(found, entry, changed, told):
    material, _ = found["two"]
    asked = material.asked["comparison"] | {"registered": entry, "changed": changed}
    comparison = replace(comparison_of(material), asked=asked)
    answer = registered(material, comparison)
    assert answer.text.endswith(told)
