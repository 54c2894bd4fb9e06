"""Perforations as recorded: what the chapters print of them, and that nothing stands there where nothing was."""

import pandas as pd
import pytest
from made_series import PLAN

from liftseries.base.remarks import WITHHELD, WITHHELD_COUNT, remark
from liftseries.models.perforation.rate import fit_perforation_rate
from liftseries.models.perforation.recorded import fit_perforation_recorded
from liftseries.models.shared.follow_up import follow_up
from liftseries.report.kit.material import Material, read_material
from liftseries.report.kit.numbers import interval, percent
from liftseries.report.languages.say import words_that_leave
from liftseries.report.perforation.recorded import recorded_sentences
from liftseries.report.perforation.recorded_figures import draw_learning
from liftseries.report.perforation.recorded_tables import learning_table, sequel_table, tears_table

N = 12
CASES = pd.DataFrame(
    {
        "site_id": [f"s{i}" for i in range(N)],
        "patient_id": [f"p{i}" for i in range(N)],
        "operator": ["o1", "o2"] * 6,
        "operator_case_no": range(5, 5 + N),
        "perforation": ["yes"] * 6 + ["no"] * 6,
        "perforation_test": ["probe"] * 11 + ["none"],
        "perforation_stage": ["drilling"] * 2 + ["lifting"] * 3 + ["unknown"] + [None] * 6,
        "perforation_mm": [1.0, 2.0, 2.0, 3.0, 4.0, *[None] * 7],
        "perforation_management": ["membrane"] * 5 + ["suture"] + [None] * 6,
    }
)
VISITS = pd.DataFrame(
    {
        "site_id": CASES["site_id"],
        "months": 12.0,
        "status": ["failed"] + ["functioning"] * 11,
        "complication": ["none"] * 7 + ["sinusitis"] + ["none"] * 4,
    }
)
NOTHING = CASES[["site_id", "patient_id"]].assign(perforation="unknown")


@pytest.fixture
def material(tmp_path):
    def of(cases=CASES, visits=VISITS) -> Material:
        fits = fit_perforation_rate(cases), fit_perforation_recorded(cases, follow_up(visits, cases).implants, visits)
        results = pd.concat([fit.rows for fit in fits], ignore_index=True)
        return Material(PLAN, {}, {}, {**read_material(tmp_path, PLAN).tables, "results": results})

    return of


def told_by(material) -> str:
    return " ".join(text for text, _ in recorded_sentences(material))


def test_perforations_stand_in_one_short_table(material):
    told = material()
    table = tears_table(told, told.words)
    cells = {row[0]: row[1:] for row in table.rows}
    (drilling,) = told.rows("perforation.stage").query("term == 'drilling'").itertuples()
    share = interval(drilling.estimate, drilling.conf_low, drilling.conf_high, percent)
    assert cells["Noticed while drilling"] == ("2 of 6", share)
    assert cells["Noticed at a stage not recorded"][0] == "1 of 6"
    assert "Noticed while grafting" not in cells
    assert cells["Looked for by probe"][0] == "6 of 11"
    assert cells["Not looked for"] == ("0 of 1", "")
    assert cells["Covered with a membrane"][0] == "5 of 6"
    assert cells["Largest diameter, mm"] == ("5 measured", "median 2.0 [2.0 to 3.0]")
    assert len(table.columns) <= 8
    assert all(key.startswith("perforation.") for keys in table.keys for key in keys.split("; "))


def test_what_followed_is_counted_on_both_sides(material):
    table = sequel_table(material(), material().words)
    assert table.rows == (
        ("Implant failed", "1 of 6 (16.7%)", "0 of 6 (0.0%)"),
        ("Sinusitis", "0 of 6 (0.0%)", "1 of 6 (16.7%)"),
    )
    assert (
        table.keys[0] == "perforation.sequel · perforation=yes · failure; perforation.sequel · perforation=no · failure"
    )


def test_what_followed_is_told_roundly_where_its_number_is_withheld(material):
    told = material()
    failed = told.results["analysis"].eq("perforation.sequel") & told.results["term"].eq("failure")
    note = remark("rounded_share", points=1)
    told.results.loc[failed, ["estimate", "n_events", "note"]] = [0.06, WITHHELD_COUNT, note]
    with words_that_leave():
        table = sequel_table(told, told.words)
    assert table.rows[0] == ("Implant failed", "6% (rounded, ± 1 point)", "6% (rounded, ± 1 point)")


def test_perforations_in_sentences(material):
    assert told_by(material()) == (
        "The 6 perforations were noticed most often while lifting (3) and while drilling (2). "
        "Most often they were covered with a membrane (5) and sutured (1). "
        "The largest diameter, measured at 5 sites, had a median of 2.0 mm (quartiles 2.0 to 3.0 mm). "
        "The membrane was tested by probe at 11 sites and not at all at 1 site. "
        "Of the implants followed, 1 of 6 at perforated sites and 0 of 6 at the others failed and sinusitis was seen "
        "at 0 of 6 perforated and 1 of 6 other sites: counts, not a comparison of like with like."
    )


def test_every_sentence_names_its_rows_exactly(material):
    told = material()
    keys = {" · ".join((row.analysis, row.subset, row.term)) for row in told.results.itertuples()}
    found = [key for _, sources in recorded_sentences(told) for key in sources]
    assert len(found) > 8
    assert set(found) <= keys


def test_counts_withheld_are_not_told(material):
    told = material()
    hidden = told.results["term"].isin(["lifting", "failure"])
    told.results.loc[hidden, ["n_events", "estimate", "conf_low", "conf_high"]] = [-1, None, None, None]
    told.results.loc[hidden, "problem"] = WITHHELD
    text = told_by(told)
    assert "noticed most often" not in text  # the stage that is withheld may be the commonest
    assert "Most often they were covered with a membrane (5) and sutured (1)." in text
    assert "failed" not in text
    assert "-1" not in text
    cells = {row[0]: row[1:] for row in tears_table(told, told.words).rows}
    assert cells["Noticed while lifting"] == ("withheld of 6", "withheld")


def test_below_five_perforations_there_is_no_table_of_shares(material):
    few = material(CASES.assign(perforation=["yes"] * 4 + ["no"] * 8))
    for table in (tears_table, sequel_table, learning_table):
        assert table(few, few.words) is None


def test_learning_names_the_operators_and_their_cases(material):
    rows = learning_table(material(), material().words).rows
    assert [row[:2] for row in rows] == [("1 to 10", "6 of 6 (100.0%)"), ("11 to 20", "0 of 6 (0.0%)")]
    assert [row[3] for row in rows] == ["2", "2"]


def test_where_nothing_was_recorded_nothing_is_printed(material):
    told = material(NOTHING, VISITS.iloc[:0])
    assert len(told.results) > 20
    for table in (tears_table, sequel_table, learning_table):
        assert table(told, told.words) is None
    assert told_by(told) == ""


def test_the_figure_of_case_numbers_tells_in_words_what_it_shows(material):
    learning = material().rows("perforation.learning")
    assert "1 to 10: 6 of 6 (100.0%)" in draw_learning(learning, CASES).alt
    assert draw_learning(learning.iloc[:0], NOTHING) is None
