"""Implant survival: its figures, tables and chapters as declared."""

from __future__ import annotations

from liftseries.report.kit.declarations import (
    SINGLE_RECORDS,
    Chapter,
    Figure,
    KeptIn,
    Released,
    Table,
)

ROOM = "liftseries.report.survival"
KM = {"curves": "survival_curves", "at_risk": "survival_at_risk", "km": "results:survival.km"}
AT_MONTHS = "Survival is told at months of the plan alone, and no curve is drawn between them"

REPORT_FIGURES = (
    Figure(
        name="survival",
        draws=f"{ROOM}.figures:draw_survival",
        reads=KM,
        caption=(
            "Kaplan-Meier implant survival, 95% intervals with patients as clusters; below, implants at risk just "
            "before each month. Curves end where fewer than 20 implants, or a tenth of their own, are at risk."
        ),
        released=Released(
            "Kaplan-Meier implant survival, 95% intervals with patients as clusters; below, implants at risk just "
            f"before each month, a dash where withheld. {AT_MONTHS}."
        ),
        has_narrow=True,
    ),
)
REPORT_TABLES = (
    Table(
        name="survival",
        makes=f"{ROOM}.tables:survival_table",
        caption="Implant survival at the months of the plan.",
        released=Released(),
    ),
    Table(
        name="failed_implants",
        makes=f"{ROOM}.tables:failed_implants_table",
        caption="The failed implants one by one.",
        released=KeptIn(SINGLE_RECORDS, "the table of the few failed implants"),
    ),
)
COMPLICATIONS = Table(
    name="complications",
    makes=f"{ROOM}.follow_up_tables:complications_table",
    caption="Patients and sites with a complication, by kind and protocol.",
    released=Released(),
)
FIGURES = (
    Figure(
        name="survival_methods",
        draws=f"{ROOM}.figures:draw_survival_methods",
        reads={
            "km": "results:survival.km",
            "life_table": "results:survival.life_table",
            "turnbull": "results:survival.turnbull",
            "weibull": "results:survival.interval_curve",
            "lost": "results:sensitivity.lost_implants",
        },
        caption=(
            "Implants in function at the months of the plan by method, with 95% intervals. Filled: the one that the "
            "report quotes."
        ),
        released=Released(),
        has_narrow=True,
    ),
)
TABLES = (
    Table(
        name="follow_up",
        makes=f"{ROOM}.follow_up_tables:completeness_table",
        caption="Implants due at each planned month, how many of them are known, lost to follow-up, and not yet due.",
        released=Released(),
    ),
    Table(
        name="numbers_at_risk",
        makes=f"{ROOM}.tables:numbers_at_risk_table",
        caption="Implants at risk, failed and censored at the months of the plan.",
        released=Released(),
    ),
    Table(
        name="survival_methods",
        makes=f"{ROOM}.other_methods:survival_methods_table",
        caption="Implants in function at the months of the plan, by method (95% interval).",
        released=Released(),
    ),
    Table(
        name="months_apart",
        makes=f"{ROOM}.other_methods:months_apart_table",
        caption="Difference in months in function (95% interval) within the months since placement.",
        released=Released(),
    ),
)
HAZARD_FIGURES = (
    Figure(
        name="hazard_methods",
        draws=f"{ROOM}.hazard_figures:draw_hazard_methods",
        reads={
            "firth_cox": "results:survival.firth_cox",
            "cox": "results:survival.cox",
            "imputed": "results:survival.imputed",
            "words": "words",
        },
        caption=(
            "Hazard ratios of implant failure by method, with 95% intervals, each term adjusted for the others. "
            "Filled: the one that the report quotes."
        ),
        released=Released(),
        has_narrow=True,
    ),
    Figure(
        name="proportional_hazards",
        draws=f"{ROOM}.hazard_figures:draw_proportional_hazards",
        reads={"residuals": "survival_ph_residuals", "test": "results:survival.ph", "words": "words"},
        caption=(
            "Scaled Schoenfeld residual of each failure against time, with a smooth line without a band. Dashed: the "
            "log hazard ratio of the Cox model, where a constant hazard ratio would leave the line."
        ),
        released=KeptIn(SINGLE_RECORDS, "the residual of each failure"),
        has_narrow=True,
    ),
)
HAZARD_TABLES = (
    Table(
        name="hazard_methods",
        makes=f"{ROOM}.hazard_tables:hazard_methods_table",
        caption="Hazard ratios of implant failure, by method.",
        released=Released(),
    ),
    Table(
        name="time_ratios",
        makes=f"{ROOM}.hazard_tables:time_ratios_table",
        caption="Ratios of the time to failure, each term adjusted for the others.",
        released=Released(),
    ),
    Table(
        name="proportional_hazards",
        makes=f"{ROOM}.hazard_tables:proportional_hazards_table",
        caption="Whether the hazard ratios stay the same over time.",
        released=Released(),
    ),
    Table(
        name="gain_and_failure",
        makes=f"{ROOM}.hazard_tables:gain_table",
        caption="Hazard ratios of failure after the landmark, by bone gain until then.",
        released=Released(),
    ),
)
REPORT_CHAPTER = Chapter(
    id="implants",
    title="Implant survival",
    blocks=(f"{ROOM}.report_chapter:blocks",),
    figures=REPORT_FIGURES,
    tables=REPORT_TABLES,
)
SUPPLEMENT_CHAPTER = Chapter(
    id="survival",
    title="Survival: how sure",
    blocks=(f"{ROOM}.supplement_chapter:blocks",),
    figures=FIGURES,
    tables=TABLES,
)
HAZARDS_CHAPTER = Chapter(
    id="hazards",
    title="Hazards of failure: how sure",
    blocks=(f"{ROOM}.supplement_chapter:hazards",),
    figures=HAZARD_FIGURES,
    tables=HAZARD_TABLES,
)
