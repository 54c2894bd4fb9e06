"""The membrane where perforations are few: a bound, a table of cases, first terms; never two answers to a question."""

import re

import numpy as np
import pandas as pd
import pytest
from made_series import PLAN
from made_tables import made_cases

from liftseries.base.outputs import write_csv
from liftseries.base.remarks import WITHHELD, WITHHELD_COUNT
from liftseries.models.files import file_of
from liftseries.models.perforation.firth import fit_perforation_firth
from liftseries.models.perforation.gee import fit_perforation_gee
from liftseries.models.perforation.rate import fit_perforation_rate
from liftseries.models.perforation.recorded import fit_perforation_recorded
from liftseries.models.perforation.risk import fit_perforation_risk
from liftseries.models.sensitivity.detection import fit_sensitivity_detection
from liftseries.models.shared.follow_up import follow_up
from liftseries.report.kit.figures.style import DOUBLE_MM, MM_PER_INCH, SINGLE_MM
from liftseries.report.kit.material import Withheld, read_material
from liftseries.report.kit.writer import Writer
from liftseries.report.perforation import answers, report_chapter, supplement_chapter
from liftseries.report.perforation.figures import draw_perforation_methods, draw_perforation_shares
from liftseries.report.perforation.methods import of_rates_and_odds, of_risks
from liftseries.report.perforation.risk_figures import draw_risk_curve, draw_risk_shapes
from liftseries.report.purposes import purpose

TERMS = ["rbh_mid_mm", "approach", "protrusion_mm"]
CONTRASTS = PLAN["plan"]["risk_contrasts"]
PERFORATION = {**PLAN, "plan": {**PLAN["plan"], "perforation_terms": TERMS}}
IN_SUPPLEMENT = (supplement_chapter.blocks, supplement_chapter.prediction)


def cases_with(n_events, n_patients=90):
    """A series with so many perforations."""
    cases = made_cases(n_patients, 3, ("guided", "freehand"), log=False)
    perforated = np.isin(np.arange(len(cases)), np.random.default_rng(1).permutation(len(cases))[:n_events])
    return cases.assign(perforation=np.where(perforated, "yes", "no"), perforation_stage="drilling")


@pytest.fixture(scope="module")
def materials(tmp_path_factory):
    """The material of so many perforations; each is fitted once."""
    made = {}

    def of(n_events):
        if n_events not in made:
            folder, cases = tmp_path_factory.mktemp(f"of_{n_events}"), cases_with(n_events)
            visits = pd.DataFrame({"site_id": cases["site_id"], "months": 12.0, "status": "functioning"})
            visits["complication"] = "none"
            fits = [
                fit_perforation_rate(cases, ["rbh_band", "approach"]),
                fit_perforation_gee(cases, TERMS),
                fit_perforation_firth(cases, TERMS),
                fit_perforation_risk(cases, TERMS, CONTRASTS),
                fit_perforation_recorded(cases, follow_up(visits, cases).implants, visits),
                fit_sensitivity_detection(cases),
            ]
            rows = pd.concat([table for fit in fits for table in (fit.rows, fit.design_effects) if len(table)])
            write_csv(folder / "results.csv", rows)
            write_csv(folder / file_of("perforation_few_cases"), fits[0].few_cases)
            write_csv(folder / file_of("perforation_risk_curves"), fits[3].curves)
            made[n_events] = read_material(folder, PERFORATION)
        return made[n_events]

    return of


def printed(material, *functions):
    """The text of chapters and their tables by name."""
    writer = Writer(purpose("publication"), material)
    found = [block for function in functions for block in function(writer)]
    text = " ".join(block.text for block in found if block.kind == "paragraph")
    return text, {block.display.name: block.display for block in found if block.kind == "table"}


def test_without_a_perforation_there_is_the_bound_alone(materials):
    material = materials(0)
    text, tables = printed(material, report_chapter.blocks)
    # 1 - 0.05^(1/90)
    assert re.fullmatch(
        r"The membrane was perforated at 0 of the \d+ sites where this is known; with each patient counted once, "
        r"at most 3\.3% \(one-sided 95% bound\)\.",
        text,
    )
    assert tables == {}
    answer = answers.tears(material)
    assert answer.text.endswith("(90 patients); at most 3.3% (one-sided 95% bound).")
    assert answer.sure.startswith("No perforation seen")
    assert answers.by_height(material) is None
    assert printed(material, *IN_SUPPLEMENT) == ("", {})


@pytest.mark.parametrize("n_events", [1, 3, 4])
def test_up_to_four_are_listed_and_not_compared(materials, n_events):
    material = materials(n_events)
    text, tables = printed(material, report_chapter.blocks)
    assert f"perforated at {n_events} of the " in text
    assert set(tables) == {"perforation_few_cases"}
    assert len(tables["perforation_few_cases"].rows) == n_events
    assert {row[2] for row in tables["perforation_few_cases"].rows} == {"drilling"}
    assert answers.by_height(material) is None
    text, tables = printed(material, *IN_SUPPLEMENT)
    assert text == ""
    assert set(tables) == {"perforation_methods"}
    rates = material.rows("perforation.rate")
    assert draw_perforation_shares(rates, material.words) is None
    assert draw_risk_curve(material.rows("perforation.risk"), cases_with(n_events)) is None
    assert draw_risk_shapes(material.read("perforation_risk_curves"), rates.iloc[:0], rates.iloc[:0]) is None


def test_one_patient_alone_is_said_to_be_one(materials):
    text, _ = printed(materials(1), report_chapter.blocks)
    assert text.endswith("exact, one patient among all).")
    assert answers.tears(materials(1)).sure.startswith("One patient alone")


def test_from_five_on_the_first_terms_are_compared(materials):
    material = materials(12)
    text, tables = printed(material, report_chapter.blocks)
    assert "With each further mm of residual bone height the odds of a perforation were " in text
    assert "adjusted for approach)" in text
    assert re.search(r"is \d+\.\d% \([^)]*\) at 4 mm and \d+\.\d% \([^)]*\) at 7 mm, from the same fit", text)
    assert set(tables) == {"tears"}
    text, tables = printed(material, *IN_SUPPLEMENT)
    assert {"perforation_methods", "perforation_rate", "perforation_risk", "risk_differences"} <= set(tables)
    assert "perforation_validation" not in tables
    assert "Non-linearity" not in text
    assert {row[0] for row in tables["risk_differences"].rows} == {
        "Residual bone height: 7 to 4 mm",
        "Approach: freehand to guided",
    }


@pytest.mark.parametrize(("n_events", "n_questions"), [(1, 1), (3, 1), (12, 3), (40, 4)])
def test_no_table_is_wider_than_eight_columns_and_each_question_is_named_once(materials, n_events, n_questions):
    _, tables = printed(materials(n_events), report_chapter.blocks, *IN_SUPPLEMENT)
    assert all(len(table.columns) <= 8 for table in tables.values())
    questions = [row[0] for row in tables["perforation_methods"].rows if row[0].endswith("?")]
    assert len(questions) == len(set(questions)) == n_questions


def test_the_page_one_answer_is_the_text_of_the_chapter_in_short(materials):
    material = materials(40)
    text, _ = printed(material, report_chapter.blocks)
    (row,) = material.quoted("perforation.firth").query("term == 'rbh_mid_mm'").itertuples()
    ratio = f"{np.exp(row.estimate):.2f} ({np.exp(row.conf_low):.2f} to {np.exp(row.conf_high):.2f})"
    answer = answers.by_height(material)
    assert ratio in text
    assert ratio in answer.text
    for risk in re.findall(r"\d+\.\d% \([^)]*\) at \d mm", text):
        assert risk in answer.text
    assert answer.source.split("; ")[0] == "perforation.firth · all · rbh_mid_mm · profile_or_jackknife"
    assert ("includes 1" in answer.sure) == (row.conf_low < 0 < row.conf_high)


@pytest.mark.parametrize("n_events", [3, 12, 40])
def test_every_number_of_the_text_is_that_of_a_headline_row(materials, n_events):
    """Each ratio, risk and share with an interval that a sentence gives stands in a headline row, and none without."""
    material = materials(n_events)
    text, tables = printed(material, report_chapter.blocks, *IN_SUPPLEMENT)
    rows = material.results
    headline = rows[rows["headline"] & rows["estimate"].notna()]
    told = set()
    for _, row in headline.iterrows():
        numbers = row[["estimate", "conf_low", "conf_high"]].to_numpy(float)
        numbers = np.exp(numbers) if row["scale"] == "log_odds" else numbers
        forms = (lambda v: f"{100 * v:.1f}%", lambda v: f"{abs(v):.2f}")
        told |= {(form(numbers[0]), *sorted(map(form, numbers[1:]))) for form in forms}
    text = text.replace("(95% interval ", "(")
    found = re.findall(r"−?(\d+\.\d+%?) \(−?(\d+\.\d+%?) to −?(\d+\.\d+%?)[,)]", text)
    assert found
    for estimate, *limits in found:
        assert (estimate, *sorted(limits)) in told
    others = {key for name, table in tables.items() if name != "perforation_methods" for key in table.keys}
    unquoted = rows[~rows["headline"] & rows["analysis"].str.startswith("perforation.")]
    for method in ("wilson", "exact", "cluster", "sandwich", "profile", "jackknife", "standardised"):
        assert method in set(unquoted["method"])
        assert not [place for place in others if place.endswith(f" · {method}")]


def test_a_part_not_found_makes_the_share_larger(materials):
    material = materials(40)
    text, _ = printed(material, report_chapter.blocks)
    share = 40 / int(material.rows("perforation.rate", "all")["n_sites"].iloc[0])
    told = re.search(r"the share would be (.*?)% if 80% of all had been found and (.*?)% if 60%", text)
    assert [float(one) for one in told.groups()] == pytest.approx([100 * share / 0.8, 100 * share / 0.6], abs=0.051)


def test_what_its_note_tells_not_to_rely_on_is_not_drawn(materials):
    """The GEE at 24 perforations for three terms, not at 40."""
    shown = {}
    for n_events in (24, 40):
        material = materials(n_events)
        rows = [material.rows(f"perforation.{name}") for name in ("firth", "gee")]
        drawing = draw_perforation_methods(*rows, rows[0].iloc[:0], material.words)
        shown[n_events] = " ".join(text.get_text() for text in drawing.figure.texts)
        methods = printed(material, *IN_SUPPLEMENT)[1]["perforation_methods"]
        marked = [row[0].endswith(" *") for row in methods.rows if "GEE, corrected" in row[0]]
        assert all(marked) if n_events == 24 else not any(marked[: len(TERMS)])
        assert ("* Fewer than ten events" in methods.note) == (" *" in " ".join(row[0] for row in methods.rows))
    assert "Penalised, profile" in shown[24]
    assert "GEE" not in shown[24]
    assert "GEE, corrected" in shown[40]


def test_the_curve_is_that_of_the_quoted_risks_and_ends_within_the_sites(materials):
    material, cases = materials(40), cases_with(40)
    rows = material.rows("perforation.risk")
    curve, bars = draw_risk_curve(rows, cases).figure.axes
    (line,) = curve.lines
    quoted = material.quoted("perforation.risk")
    assert sorted(line.get_ydata()) == pytest.approx(sorted(quoted["estimate"]))
    low, high = np.quantile(cases["rbh_mid_mm"], [0.01, 0.99])
    assert low <= min(line.get_xdata()) < max(line.get_xdata()) <= high
    assert sum(bar.get_height() for bar in bars.patches) == len(cases)
    outlier = cases.assign(rbh_mid_mm=cases["rbh_mid_mm"].clip(upper=5.0))
    assert max(draw_risk_curve(rows, outlier).figure.axes[0].lines[0].get_xdata()) <= 5.0


def test_each_wide_figure_has_a_layout_of_one_column(materials):
    material, cases = materials(40), cases_with(40)
    risk = material.rows("perforation.risk")
    firth, gee = material.rows("perforation.firth"), material.rows("perforation.gee")
    curves = material.read("perforation_risk_curves")
    for draw, read in (
        (draw_perforation_shares, [material.rows("perforation.rate"), material.words]),
        (draw_risk_curve, [risk, cases]),
        (draw_perforation_methods, [firth, gee, gee.iloc[:0], material.words]),
        (draw_risk_shapes, [curves, risk, material.rows("perforation.risk_lift")]),
    ):
        wide, narrow = draw(*read), draw(*read, narrow=True)
        widths = [drawing.figure.get_figwidth() * MM_PER_INCH for drawing in (wide, narrow)]
        assert widths == pytest.approx([DOUBLE_MM, SINGLE_MM])
        assert wide.covers == narrow.covers
        assert "40 perforations" in wide.covers


def test_methods_tell_of_models_only_where_there_are_some(materials):
    told = {
        n: [paragraph.lead for paragraph in (*of_rates_and_odds(Writer(purpose("publication"), materials(n))),
                                             *of_risks(Writer(purpose("publication"), materials(n))))]
        for n in (3, 40)
    }  # fmt: skip
    assert "Risk along height and lift" not in told[3]
    assert "Risk along height and lift" in told[40]


def test_counts_withheld_are_said_to_be_and_nothing_is_worked_out_from_them(materials):
    material = materials(3)
    rows = material.results.copy()
    numbers = ["estimate", "std_error", "conf_low", "conf_high", "p_value"]
    rows.loc[rows["analysis"].eq("perforation.rate"), [*numbers, "n_events"]] = [*[np.nan] * 5, WITHHELD_COUNT]
    rows["problem"] = rows["problem"].where(~rows["analysis"].eq("perforation.rate"), WITHHELD)
    masked = type(material)(
        material.plan, {}, {}, {**material.tables, "results": rows}, withheld=Withheld(5, 10, 20, 9, 1, 1, False)
    )
    text, tables = printed(masked, report_chapter.blocks)
    assert text.startswith("The membrane was perforated at some of the ")
    assert tables == {}
    assert "how many is not told" in answers.tears(masked).text
    assert "-1" not in text + answers.tears(masked).text
