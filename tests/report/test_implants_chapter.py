"""The chapter on implants where failures or those at risk are few: bounds, a table of cases, one plain sentence."""

import re

import numpy as np
import pandas as pd
import pytest
from liftseries.report.survival.chapter import blocks
from made_series import PLAN
from made_tables import made_cases

from liftseries.base.outputs import write_csv
from liftseries.models.files import file_of
from liftseries.models.survival.competing import fit_survival_competing
from liftseries.models.survival.cox import fit_survival_cox
from liftseries.models.survival.failures import failed_implants
from liftseries.models.survival.firth_cox import fit_survival_firth_cox
from liftseries.models.survival.km import fit_survival_km
from liftseries.models.survival.ph import fit_survival_ph
from liftseries.models.survival.rmst import fit_survival_rmst
from liftseries.report.kit.material import read_material
from liftseries.report.kit.writer import Writer
from liftseries.report.purposes import purpose

TERMS = ["rbh_mid_mm", "approach"]
MONTHS = [12, 36, 60]


def chapter_of(n_failed, folder, n_patients=90, end=70.0):
    """Its text, its tables by name, and the rows of results.csv; every other implant is followed to `end`."""
    cases = made_cases(n_patients, 3, ("guided", "freehand"), log=False)
    rng = np.random.default_rng(1)
    months = np.where(np.arange(len(cases)) % 4 == 0, 20.0, end)
    failing = rng.permutation(np.flatnonzero(months == end))[:n_failed]
    months[failing] = rng.uniform(1, min(end, 60), n_failed)
    failed = np.isin(np.arange(len(cases)), failing)
    implants = cases.assign(months=months, failed=failed, died=False, last_in_function=np.where(failed, 0.0, months))
    km, ph = fit_survival_km(implants, MONTHS, ["rbh_band", "approach"]), fit_survival_ph(implants, TERMS)
    fits = [km, ph, fit_survival_cox(implants, TERMS), fit_survival_firth_cox(implants, TERMS)]
    fits += [fit_survival_competing(implants, MONTHS), fit_survival_rmst(implants, MONTHS)]
    rows = pd.concat([table for fit in fits for table in (fit.rows, fit.design_effects) if len(table)])
    write_csv(folder / "results.csv", rows)
    write_csv(folder / file_of("survival_at_risk"), km.at_risk)
    write_csv(folder / file_of("failed_implants"), failed_implants(implants))
    plan = {**PLAN, "plan": {**PLAN["plan"], "survival_terms": TERMS}}
    found = list(blocks(Writer(purpose("publication"), read_material(folder, plan))))
    text = " ".join(block.text for block in found if block.kind == "paragraph")
    return text, {block.display.name: block.display for block in found if block.kind == "table"}, rows


def test_without_a_failure_there_is_the_bound_alone(tmp_path):
    text, tables, rows = chapter_of(0, tmp_path)
    (row,) = rows.query("analysis == 'survival.km' and subset == 'all' and term == '60' and headline").to_dict(
        "records"
    )
    assert f"At 60 months at least {100 * row['conf_low']:.1f}% of the implants were in function, a 95% bound" in text
    assert "No hazard ratio is given: no implant used has failed, so no hazard can be compared." in text
    assert set(tables) == {"survival", "numbers_at_risk", "survival_methods"}
    assert [line[0] for line in tables["survival"].rows] == ["All implants"]


@pytest.mark.parametrize("n_failed", [1, 4])
def test_up_to_four_are_listed_and_not_compared(tmp_path, n_failed):
    text, tables, _ = chapter_of(n_failed, tmp_path)
    assert f"{n_failed} failure{'s are' if n_failed > 1 else ' is'} too few to compare implants" in text
    assert set(tables) == {"survival", "numbers_at_risk", "failed_implants", "survival_methods"}
    assert len(tables["failed_implants"].rows) == n_failed
    assert [line[0] for line in tables["survival"].rows] == ["All implants"]
    assert not re.search("times as high|stay the same over time", text)


def test_from_five_on_the_first_terms_are_compared_and_nothing_is_tested_over_time(tmp_path):
    text, tables, _ = chapter_of(9, tmp_path)
    assert "Of residual bone height" not in text
    assert "No hazard ratio is given of approach: guided against freehand: 9 failures are too few for a model" in text
    assert [line[0] for line in tables["hazard_ratios"].rows] == ["Residual bone height, per mm"]
    assert "proportional_hazards" not in tables
    assert len(tables["survival"].rows) > 3


def test_from_20_failures_the_test_over_time_is_told(tmp_path):
    text, tables, _ = chapter_of(24, tmp_path)
    assert "stay the same over time" in text
    assert {line[-1].rpartition(" ")[2] for line in tables["proportional_hazards"].rows} == {"score_clustered"}


def test_months_at_which_too_few_are_at_risk_are_one_plain_sentence(tmp_path):
    text, tables, _ = chapter_of(9, tmp_path, end=40.0)
    assert "At 36 months" in text
    assert "At 60 months too few implants were followed for a statement on survival" in text
    assert "too few at risk" in tables["survival"].rows[0][6] or "not estimated" in tables["survival"].rows[0][6]
    text, tables, _ = chapter_of(1, tmp_path, n_patients=8)
    assert "At 12, 36 and 60 months too few implants were followed" in text
    assert "%" not in text


@pytest.mark.parametrize("n_failed", [3, 9, 24])
def test_every_number_of_the_text_is_that_of_a_headline_row(tmp_path, n_failed):
    text, _, rows = chapter_of(n_failed, tmp_path)
    told = set()
    for _, row in rows[rows["headline"] & rows["estimate"].notna()].iterrows():
        numbers = row[["estimate", "conf_low", "conf_high"]].to_numpy(float)
        numbers = np.exp(numbers) if row["scale"] == "log_hazard" else numbers
        form = (lambda v: f"{100 * v:.1f}%") if row["scale"] == "probability" else (lambda v: f"{v:.2f}")
        told.add(tuple(map(form, numbers)))
    found = re.findall(r"(\d+\.\d+%?) \((\d+\.\d+%?) to (\d+\.\d+%?)\)", text)
    assert found
    assert set(found) <= told
