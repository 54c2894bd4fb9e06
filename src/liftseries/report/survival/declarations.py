"""How the implants fared: its figures, tables and chapter as declared."""

from __future__ import annotations

from liftseries.report.kit.declarations import (
    NOT_COARSENED,
    SINGLE_RECORDS,
    Chapter,
    Figure,
    KeptIn,
    Released,
    Table,
)

ROOM = "liftseries.report.survival"
KM = {"curves": "survival_curves", "at_risk": "survival_at_risk", "km": "results:survival.km"}
# Ways to estimate the same terms: heading, analysis, what its method begins with.
HAZARD_WAYS = (
    ("Clustered (Cox)", "survival.cox", ""),
    ("Penalised, profile interval", "survival.firth_cox", "profile"),
    ("Penalised, patient jackknife", "survival.firth_cox", "jackknife"),
    ("Missing terms imputed", "survival.imputed", ""),
)
AT_MONTHS = "The curve is told just before each month numbered below it, and only where it may be: what lies between"

FIGURES = (
    Figure(
        name="survival",
        draws=f"{ROOM}.figures:draw_survival",
        reads=KM,
        caption=(
            "Kaplan-Meier survival of all implants with its patient-clustered 95% band. Below: implants at risk "
            "just before each month, and failed or censored before it. Where few are left at risk, one failure "
            "makes a large step."
        ),
        released=Released(
            "Kaplan-Meier survival of all implants with its patient-clustered 95% band. "
            f"{AT_MONTHS} two of them is drawn as one step. Below: implants at risk just before each month, and failed "
            "or censored before it; a dash is a number withheld."
        ),
    ),
    Figure(
        name="survival_between_visits",
        draws=f"{ROOM}.figures:draw_survival_between_visits",
        reads={"curves": "survival_curves", "turnbull": "survival_turnbull_curves"},
        caption=(
            "The same survival with each failure dated at the visit that found it (steps) and known only to lie "
            "between two visits (line with its 95% band, patients resampled). The distance is what the dating is worth."
        ),
        released=KeptIn(NOT_COARSENED, "survival with failures dated between two visits"),
    ),
    Figure(
        name="survival_by_height",
        draws=f"{ROOM}.figures:draw_survival_by_height",
        reads=KM,
        caption=(
            "Kaplan-Meier survival by residual bone height, with patient-clustered 95% intervals at the months "
            "of the plan, set side by side for reading. Where few are left at risk, one failure makes a large "
            "step."
        ),
        released=Released(
            "Kaplan-Meier survival by residual bone height, with patient-clustered 95% intervals at the plan's months, "
            f"set side by side for reading. {AT_MONTHS} two of them is drawn as one step. A dash is a number withheld."
        ),
    ),
    Figure(
        name="competing_risks",
        draws=f"{ROOM}.figures:draw_competing_risks",
        reads={"curves": "survival_competing_curves"},
        caption=(
            "Implants failed, and implants whose patient died, of all placed and followed; 95% band of the failures, "
            "clustered by patient."
        ),
        released=KeptIn(NOT_COARSENED, "failures with death competing"),
    ),
    Figure(
        name="hazard_ratios",
        draws=f"{ROOM}.hazard_figures:draw_hazard_ratios",
        reads={"cox": "results:survival.cox", "words": "words"},
        caption="Hazard ratios of implant failure with 95% intervals, each term held against the others.",
        released=Released(),
    ),
    Figure(
        name="proportional_hazards",
        draws=f"{ROOM}.hazard_figures:draw_proportional_hazards",
        reads={"residuals": "survival_ph_residuals", "test": "results:survival.ph", "words": "words"},
        caption=(
            "Each failure's scaled residual against time, with a smooth line; a hazard ratio that stays the same gives "
            "a level line at its estimate (dashed)."
        ),
        released=KeptIn(SINGLE_RECORDS, "the residual of each failure"),
    ),
)
TABLES = (
    Table(
        name="survival",
        makes=f"{ROOM}.tables:survival_table",
        caption="Implant survival (Kaplan-Meier) at the months of the plan.",
        released=Released(),
    ),
    Table(
        name="numbers_at_risk",
        makes=f"{ROOM}.tables:numbers_at_risk_table",
        caption="Implants at risk just before each month / failed before it / censored before it.",
        released=Released(),
    ),
    Table(
        name="survival_by_way",
        makes=f"{ROOM}.tables:survival_by_way_table",
        caption="Implants in function at the months of the plan, by how a failure is dated and counted.",
        released=Released(),
    ),
    Table(
        name="life_table",
        makes=f"{ROOM}.tables:life_table_table",
        caption="Yearly actuarial life table of the implants.",
        released=Released(),
    ),
    Table(
        name="hazard_ratios",
        makes="liftseries.report.kit.tables.terms:terms_table",
        caption="Hazard ratios of implant failure, implants clustered in patients.",
        released=Released(),
        options={"analysis": "survival.cox"},
    ),
    Table(
        name="hazard_ways",
        makes="liftseries.report.kit.tables.terms:side_by_side_table",
        caption="Ratios of implant failure (hazards), each term estimated in several ways.",
        released=Released(),
        options={"ways": HAZARD_WAYS},
    ),
    Table(
        name="proportional_hazards",
        makes=f"{ROOM}.tables:proportional_hazards_table",
        caption="Whether the hazard ratios stay the same over time.",
        released=Released(),
    ),
    Table(
        name="failure_times",
        makes="liftseries.report.kit.tables.terms:terms_table",
        caption="Weibull model of the log time to a failure between visits.",
        released=Released(),
        options={"analysis": "survival.interval"},
    ),
    Table(
        name="competing_risks",
        makes=f"{ROOM}.tables:competing_table",
        caption="Implants failed by the months of the plan, the patient's death competing.",
        released=Released(),
    ),
    Table(
        name="months_in_function",
        makes=f"{ROOM}.tables:rmst_table",
        caption="Months in function up to a horizon (restricted mean survival time).",
        released=Released(),
    ),
    Table(
        name="gain_and_failure",
        makes="liftseries.report.kit.tables.terms:terms_table",
        caption="Hazard ratios of failure after the landmark, bone gain by then.",
        released=Released(),
        options={"analysis": "survival.gain"},
    ),
    Table(
        name="complications",
        makes=f"{ROOM}.follow_up_tables:complications_table",
        caption="Patients and sites with a complication, by kind and protocol.",
        released=Released(),
    ),
    Table(
        name="follow_up",
        makes=f"{ROOM}.follow_up_tables:completeness_table",
        caption="Implants due at each planned month, how many of them are known, lost to follow-up, and not yet due.",
        released=Released(),
    ),
    Table(
        name="time_followed",
        makes=f"{ROOM}.follow_up_tables:time_table",
        caption="How long implants were followed, and their failures.",
        released=Released(),
    ),
)
CHAPTER = Chapter(
    id="implants",
    title="How the implants fared",
    blocks=f"{ROOM}.chapter:blocks",
    figures=FIGURES,
    tables=TABLES,
)
