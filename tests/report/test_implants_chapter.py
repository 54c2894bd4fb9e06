"""Implant survival in both documents: what is quoted, and what few failures or few at risk leave unsaid."""

import re

import numpy as np
import pandas as pd
import pytest
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
from liftseries.report.survival import answers, methods, report_chapter, supplement_chapter
from liftseries.report.survival.figures import draw_survival
from liftseries.report.survival.hazard_figures import draw_proportional_hazards
from liftseries.report.survival.tables import spread

TERMS = ["rbh_mid_mm", "approach"]
MONTHS = [12, 36, 60]


class Told:
    """A made series with so many failures; every other implant is followed to `end`, a fourth of them to month 20."""

    def __init__(self, n_failed, folder, n_patients=90, end=70.0):
        cases = made_cases(n_patients, 3, ("guided", "freehand"), log=False)
        rng = np.random.default_rng(1)
        months = np.where(np.arange(len(cases)) % 4 == 0, 20.0, end)
        failing = rng.permutation(np.flatnonzero(months == end))[:n_failed]
        months[failing] = rng.uniform(1, min(end, 60), n_failed)
        failed = np.isin(np.arange(len(cases)), failing)
        last = np.where(failed, 0.0, months)
        implants = cases.assign(months=months, failed=failed, died=False, last_in_function=last)
        self.km, self.ph = fit_survival_km(implants, MONTHS, ["rbh_band", "approach"]), fit_survival_ph(implants, TERMS)
        fits = [self.km, self.ph, fit_survival_cox(implants, TERMS), fit_survival_firth_cox(implants, TERMS)]
        fits += [fit_survival_competing(implants, MONTHS), fit_survival_rmst(implants, MONTHS)]
        self.rows = pd.concat([table for fit in fits for table in (fit.rows, fit.design_effects) if len(table)])
        write_csv(folder / "results.csv", self.rows)
        write_csv(folder / file_of("survival_at_risk"), self.km.at_risk)
        write_csv(folder / file_of("failed_implants"), failed_implants(implants))
        plan = {**PLAN, "plan": {**PLAN["plan"], "survival_terms": TERMS, "survival_months": MONTHS}}
        self.material = read_material(folder, plan)
        writer = Writer(purpose("publication"), self.material)
        self.report = Blocks(report_chapter.blocks(writer))
        self.supplement = Blocks(supplement_chapter.blocks(writer))
        self.hazards = Blocks([*supplement_chapter.hazards(writer), *supplement_chapter.landmark(writer)])
        self.methods = [block.lead for block in methods.of_survival(writer)]

    def all_of(self, analysis="survival.km"):
        """The quoted rows of all implants."""
        return self.rows.query("analysis == @analysis and subset == 'all' and headline").set_index("term")

    def curve(self, **options):
        """The figure of the report."""
        km = self.rows[self.rows["analysis"].eq("survival.km")]
        return draw_survival(self.km.curves, self.km.at_risk, km, **options)


class Blocks:
    """Text and tables of a chapter."""

    def __init__(self, blocks):
        blocks = list(blocks)
        self.text = " ".join(block.text for block in blocks if block.kind == "paragraph")
        self.tables = {block.display.name: block.display for block in blocks if block.kind == "table"}


def test_without_a_failure_there_is_the_bound_alone(tmp_path):
    told = Told(0, tmp_path)
    low = f"at least {100 * told.all_of().loc['60', 'conf_low']:.1f}% at 60 months"
    assert f"{low} (one-sided 95% bound, each patient counted once)" in told.report.text
    assert low in answers.survival(told.material).text
    assert answers.failure(told.material).text == "No implant failed, so there is nothing to compare."
    assert told.report.tables == {}
    assert set(told.supplement.tables) == {"numbers_at_risk"}
    assert (told.hazards.text, told.hazards.tables) == ("", {})
    assert told.curve() is None
    assert told.methods == ["Follow-up", "Survival"]


@pytest.mark.parametrize("n_failed", [1, 3, 4])
def test_up_to_four_are_listed_and_not_compared(tmp_path, n_failed):
    told = Told(n_failed, tmp_path)
    words = "1 failure is too few" if n_failed == 1 else f"{n_failed} failures are too few"
    assert (
        f"{words} to compare implants with each other and {'is' if n_failed == 1 else 'are'} listed" in told.report.text
    )
    assert set(told.report.tables) == {"failed_implants"}
    assert len(told.report.tables["failed_implants"].rows) == n_failed
    assert [line[0] for line in told.supplement.tables["numbers_at_risk"].rows] == ["All implants"]
    assert set(told.supplement.tables) == {"numbers_at_risk"}
    assert (told.hazards.text, told.hazards.tables) == ("", {})
    assert len(told.curve().figure.axes) == 1
    implants = "1 implant" if n_failed == 1 else f"{n_failed} implants"
    assert answers.failure(told.material).text == f"{implants} failed, too few to compare implants with each other."
    assert answers.survival(told.material).text.endswith(f"; {implants} failed.")
    assert told.methods == ["Follow-up", "Survival"]


def test_from_five_on_the_first_terms_are_compared_and_nothing_is_tested_over_time(tmp_path):
    told = Told(9, tmp_path)
    assert (
        "Not in the model, as 9 failures allow no more terms: approach: guided against freehand." in told.hazards.text
    )
    assert "no other term is in the model" in told.hazards.text
    assert "proportional_hazards" not in told.hazards.tables
    assert len(told.report.tables["survival"].rows) > 3
    assert "failed_implants" not in told.report.tables
    assert "guided" not in answers.failure(told.material).text
    tests = told.rows[told.rows["analysis"].eq("survival.ph")]
    assert draw_proportional_hazards(told.ph.residuals, tests) is None


def test_from_20_failures_the_test_over_time_is_told_with_one_p(tmp_path):
    told = Told(24, tmp_path)
    (p,) = re.findall(r"p (\d\.\d+)", told.hazards.text)
    table = told.hazards.tables["proportional_hazards"]
    assert {key.rpartition(" ")[2] for key in table.keys} == {"score_clustered"}
    assert [line[-1] for line in table.rows if line[0] == "All terms together"] == [p]
    tests = told.rows[told.rows["analysis"].eq("survival.ph")]
    drawing = draw_proportional_hazards(told.ph.residuals, tests)
    assert {axes.get_ylabel() for axes in drawing.figure.axes} == {"Scaled Schoenfeld residual"}
    assert "GLOBAL" not in told.hazards.text + drawing.alt + str(table.rows)


def test_months_at_which_too_few_are_at_risk_have_no_column_and_one_sentence(tmp_path):
    told = Told(9, tmp_path, end=40.0)
    assert "Survival at 60 months is not stated: fewer than 20 implants" in told.report.text
    assert told.report.tables["survival"].columns[4:] == ("12 months", "36 months")
    assert "60 months" not in answers.survival(told.material).text
    assert told.supplement.tables["survival_methods"].columns[1:3] == ("12 months", "36 months")


def test_where_nothing_is_quoted_page_one_counts_and_states_no_share(tmp_path):
    told = Told(1, tmp_path, n_patients=8)
    assert "Survival at 12, 36 and 60 months is not stated" in told.report.text
    assert "%" not in told.report.text + answers.survival(told.material).text
    assert "1 implant failed; at the planned months too few" in answers.survival(told.material).text
    assert "survival" not in told.report.tables


def test_the_table_has_a_month_a_column_and_fits_a_page(tmp_path):
    table = Told(24, tmp_path).report.tables["survival"]
    assert table.columns == ("Implants", "Number", "Patients", "Failures in all", "12 months", "36 months", "60 months")
    assert [line[0] for line in table.rows][:1] == ["All implants"]
    assert spread([6, 12, 24, 36, 48, 60], 4) == [6, 24, 36, 60]
    assert spread([12, 60], 4) == [12, 60]


def test_the_figure_has_two_panels_that_stand_one_below_the_other_when_narrow(tmp_path):
    told = Told(24, tmp_path)
    wide, narrow = told.curve(), told.curve(narrow=True)
    assert [axes.get_title(loc="left") for axes in wide.figure.axes] == ["All implants", "By residual bone height"]
    beside = [axes.get_position() for axes in wide.figure.axes]
    below = [axes.get_position() for axes in narrow.figure.axes]
    assert beside[0].y0 == pytest.approx(beside[1].y0)
    assert beside[0].x1 < beside[1].x0
    assert below[0].x0 == pytest.approx(below[1].x0)
    assert below[1].y1 < below[0].y0
    assert narrow.figure.get_figwidth() < 0.5 * wide.figure.get_figwidth()
    assert re.fullmatch(r"\d+ implants of 90 patients, 24 failures", wide.covers)


def test_curves_of_bands_end_where_too_few_of_their_own_are_at_risk(tmp_path):
    told = Told(24, tmp_path)
    bands = told.km.curves[told.km.curves["subset"].str.startswith("rbh_band=")]
    ends = bands.groupby("subset")["months"].max()
    drawn = [line for line in told.curve().figure.axes[1].lines if line.get_drawstyle() == "steps-post"]
    assert sorted(float(line.get_xdata()[-1]) for line in drawn) == pytest.approx(sorted(ends))
    looks = {(line.get_color(), line.get_linestyle()) for line in drawn}
    assert len(looks) == len(ends) > 1


@pytest.mark.parametrize("n_failed", [3, 9, 24])
def test_every_number_of_the_text_is_that_of_a_headline_row(tmp_path, n_failed):
    told, forms = Told(n_failed, tmp_path), set()
    for _, row in told.rows[told.rows["headline"] & told.rows["estimate"].notna()].iterrows():
        numbers = row[["estimate", "conf_low", "conf_high"]].to_numpy(float)
        numbers = np.exp(numbers) if row["scale"] == "log_hazard" else numbers
        form = (lambda v: f"{100 * v:.1f}%") if row["scale"] == "probability" else (lambda v: f"{v:.2f}")
        forms.add(tuple(map(form, numbers)))
    first_page = answers.survival(told.material).text + answers.failure(told.material).text
    found = re.findall(r"(\d+\.\d+%?) \((\d+\.\d+%?) to (\d+\.\d+%?)\)", told.report.text + first_page)
    assert found
    assert set(found) <= forms
