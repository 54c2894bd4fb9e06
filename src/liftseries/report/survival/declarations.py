"""How the implants fared: its figures, tables and chapter as declared."""

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
AT_MONTHS = "The curve is told just before each month numbered below it, and only where it may be: what lies between"

REPORT_FIGURES = (
    Figure(
        name="survival",
        draws=f"{ROOM}.figures:draw_survival",
        reads=KM,
        caption=(
            "Kaplan-Meier survival of all implants with its patient-clustered 95% band. Below: implants at risk "
            "just before each month, and failed or censored before it. The curve ends where fewer than 20 implants, or "
            "a tenth of all, are at risk."
        ),
        released=Released(
            "Kaplan-Meier survival of all implants with its patient-clustered 95% band. "
            f"{AT_MONTHS} two of them is drawn as one step. Below: implants at risk just before each month, and failed "
            "or censored before it; a dash is a number withheld."
        ),
    ),
)
REPORT_TABLES = (
    Table(
        name="survival",
        makes=f"{ROOM}.tables:survival_table",
        caption="Implant survival (Kaplan-Meier) at the months of the plan.",
        released=Released(),
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
        name="proportional_hazards",
        draws=f"{ROOM}.hazard_figures:draw_proportional_hazards",
        reads={"residuals": "survival_ph_residuals", "test": "results:survival.ph", "words": "words"},
        caption=(
            "Each failure's scaled residual against time, with a smooth line; a hazard ratio that stays the same gives "
            "a level line at its estimate (dashed)."
        ),
        released=KeptIn(SINGLE_RECORDS, "the residual of each failure"),
    ),
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
            "The same question by other methods: implants in function at the months of the plan with 95% intervals. "
            "Filled: the one that the report quotes."
        ),
        released=Released(),
    ),
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
            "The same question by other methods: hazard ratios of implant failure with 95% intervals, each term "
            "adjusted for the others. Filled: the one that the report quotes."
        ),
        released=Released(),
    ),
)
TABLES = (
    Table(
        name="numbers_at_risk",
        makes=f"{ROOM}.tables:numbers_at_risk_table",
        caption="Implants at risk just before each month / failed before it / censored before it.",
        released=Released(),
    ),
    Table(
        name="failed_implants",
        makes=f"{ROOM}.tables:failed_implants_table",
        caption="The failed implants one by one: too few to be compared.",
        released=KeptIn(SINGLE_RECORDS, "the table of the few failed implants"),
    ),
    Table(
        name="hazard_ratios",
        makes=f"{ROOM}.tables:hazard_ratios_table",
        caption="Hazard ratios of implant failure, each term adjusted for the others.",
        released=Released(),
    ),
    Table(
        name="proportional_hazards",
        makes=f"{ROOM}.tables:proportional_hazards_table",
        caption="Whether the hazard ratios stay the same over time.",
        released=Released(),
    ),
    Table(
        name="survival_methods",
        makes=f"{ROOM}.other_methods:survival_methods_table",
        caption="Implants in function at the months of the plan: the same question by other methods.",
        released=Released(),
    ),
    Table(
        name="hazard_methods",
        makes=f"{ROOM}.other_methods:hazard_methods_table",
        caption="Hazard ratios of implant failure: the same question by other methods.",
        released=Released(),
    ),
    Table(
        name="gain_and_failure",
        makes=f"{ROOM}.tables:gain_table",
        caption="Hazard ratios of failure after the landmark, bone gain by then.",
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
)
