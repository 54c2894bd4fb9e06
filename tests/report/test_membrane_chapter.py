"""The chapter on the membrane where events are few: a bound, a table of cases, first terms; never two answers."""

import re

import numpy as np
import pandas as pd
import pytest
from liftseries.report.perforation.chapter import blocks
from made_series import PLAN
from made_tables import made_cases

from liftseries.base.outputs import write_csv
from liftseries.models.files import file_of
from liftseries.models.perforation.firth import fit_perforation_firth
from liftseries.models.perforation.gee import fit_perforation_gee
from liftseries.models.perforation.rate import fit_perforation_rate
from liftseries.models.perforation.risk import fit_perforation_risk
from liftseries.report.kit.material import read_material
from liftseries.report.kit.writer import Writer
from liftseries.report.purposes import purpose

TERMS = ["rbh_mid_mm", "approach", "protrusion_mm"]
CONTRASTS = PLAN["plan"]["risk_contrasts"]


def chapter_of(n_events, folder, n_patients=90):
    """Its text, its tables by name, and the rows of results.csv."""
    cases = made_cases(n_patients, 3, ("guided", "freehand"), log=False)
    torn = np.random.default_rng(1).permutation(len(cases))[:n_events]
    cases = cases.assign(
        perforation=np.where(np.isin(np.arange(len(cases)), torn), "yes", "no"), perforation_stage="drilling"
    )
    fits = [
        fit_perforation_rate(cases, ["rbh_band", "approach"]),
        fit_perforation_gee(cases, TERMS),
        fit_perforation_firth(cases, TERMS),
        fit_perforation_risk(cases, TERMS, CONTRASTS),
    ]
    rows = pd.concat([table for fit in fits for table in (fit.rows, fit.design_effects) if len(table)])
    write_csv(folder / "results.csv", rows)
    write_csv(folder / file_of("perforation_few_cases"), fits[0].few_cases)
    plan = {**PLAN, "plan": {**PLAN["plan"], "perforation_terms": TERMS}}
    found = list(blocks(Writer(purpose("publication"), read_material(folder, plan))))
    text = " ".join(block.text for block in found if block.kind == "paragraph")
    return text, {block.display.name: block.display for block in found if block.kind == "table"}, rows


def test_without_a_perforation_there_is_the_bound_alone(tmp_path):
    text, tables, _ = chapter_of(0, tmp_path)
    assert re.search(r"perforated at 0 of \d+ sites where it is known: at most 3\.3%", text)  # 1 - 0.05^(1/90)
    assert "No odds ratio is given: no site used was perforated, so nothing tells the terms apart." in text
    assert set(tables) == {"perforation_rate", "perforation_methods"}
    assert not re.search("odds of a perforation|odled risk|c statistic|Non-linearity", text)


@pytest.mark.parametrize("n_events", [1, 4])
def test_up_to_four_are_listed_and_not_compared(tmp_path, n_events):
    text, tables, _ = chapter_of(n_events, tmp_path)
    assert f"{n_events} perforation{'s are' if n_events > 1 else ' is'} too few to compare sites" in text
    assert set(tables) == {"perforation_rate", "perforation_few_cases", "perforation_methods"}
    assert len(tables["perforation_few_cases"].rows) == n_events
    assert {row[2] for row in tables["perforation_few_cases"].rows} == {"drilling"}
    assert {row[0] for row in tables["perforation_methods"].rows} == {"How many sites were perforated?"}
    assert "odds of a perforation" not in text


def test_from_five_on_the_first_terms_are_compared_and_the_rest_is_said_not_to_be(tmp_path):
    text, tables, _ = chapter_of(12, tmp_path)
    assert "No odds ratio is given of planned lift, per mm: 12 perforations are too few for a model with all" in text
    assert len(tables["perforation_odds"].rows) == 3
    assert "perforation_nonlinearity" not in tables
    assert re.search("by residual bone height, .*: at 7 mm .*, at 4 mm", text)
    assert "Planned lift: 2 to 5" not in text


@pytest.mark.parametrize("n_events", [3, 12, 40])
def test_every_number_of_the_text_is_that_of_a_headline_row(tmp_path, n_events):
    """Each ratio, risk and share with an interval that a sentence gives stands in a headline row, and none without."""
    text, tables, rows = chapter_of(n_events, tmp_path)
    headline = rows[rows["headline"] & rows["estimate"].notna()]
    told = set()
    for _, row in headline.iterrows():
        numbers = row[["estimate", "conf_low", "conf_high"]].to_numpy(float)
        numbers = np.exp(numbers) if row["scale"] == "log_odds" else numbers
        forms = (lambda v: f"{100 * v:.1f}%", lambda v: f"{abs(v):.2f}")
        told |= {(form(numbers[0]), *sorted(map(form, numbers[1:]))) for form in forms}
    found = re.findall(r"−?(\d+\.\d+%?) \(−?(\d+\.\d+%?) to −?(\d+\.\d+%?)\)", text)
    assert found
    for estimate, *limits in found:
        assert (estimate, *sorted(limits)) in told
    other = {row[-1] for name, table in tables.items() if name != "perforation_methods" for row in table.rows}
    unquoted = rows[~rows["headline"] & rows["analysis"].str.startswith("perforation.")]
    for method in ("wilson", "exact", "cluster", "sandwich", "profile", "jackknife", "standardised"):
        assert method in set(unquoted["method"])
        assert not [place for place in other if place.endswith(f" · {method}")]
