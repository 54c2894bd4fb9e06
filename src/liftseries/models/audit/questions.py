"""The questions of this room, as declared. Hardly a number of it leaves the house; see `behind`."""

from __future__ import annotations

from liftseries.models.shared.question import Analysis, Leaves, Question

TITLE = "Audit"
ROOM = "liftseries.models.audit"
BEHIND = f"{ROOM}.behind"
ONLY = ("audit",)
UNITS = {"by": "audit.by", "expected": "audit.expected"}
IN_PERIOD = UNITS | {"period": "audit.period"}
CENTRE = {"centre": "audit.centre", "standard": "audit.standard"}
CHANCE = {"resamples": "resamples", "seed": "seed"}
OF_SITES = {
    "unrecorded": "audit.unrecorded",
    "data_until": "data_until",
    "depth_tolerance_mm": "depth_tolerance_mm",
    "step_mm": "step_mm",
}
EVERYTHING = {"cases": "cases", "implants": "implants", "visits": "visits"}
CLUSTERED = "beta-binomial patients convolved, a patient's sites alike"
PENALISED = "Firth's penalised logistic model"

QUESTIONS: tuple[Question, ...] = (
    Question(
        name="audit_funnel",
        says="units against what is expected of them",
        function=f"{ROOM}.funnel:fit_audit_funnel",
        reads={"cases": "cases"},
        asks=IN_PERIOD
        | CENTRE
        | {"alert_sd": "audit.alert_sd", "alarm_sd": "audit.alarm_sd", "case_mix": "audit.case_mix"},
        analyses=(
            Analysis(
                "audit.funnel",
                "each unit's tears against those expected: rate, limits, flag, chance of a false one, sites needed",
                {
                    "clustered": CLUSTERED,
                    "binomial": "binomial, sites taken as independent",
                    "case_mix": "as clustered, each patient with the risk that its sites have at the other units "
                    "(Firth's penalised logistic model)",
                },
                headline=("clustered",),
                behind=f"{BEHIND}:funnel",
                answers="Does a unit tear more membranes than is expected of it?",
            ),
            Analysis(
                "audit.series",
                "the whole series against the standard",
                {"clustered": CLUSTERED, "binomial": "binomial, sites taken as independent"},
                headline=("clustered",),
                behind=f"{BEHIND}:series",
                answers="How does the series lie to the standard?",
            ),
        ),
        purposes=ONLY,
    ),
    Question(
        name="audit_as_filed",
        says="flags before corrections",
        function=f"{ROOM}.as_filed:list_units_as_filed",
        reads={"cases": "cases", "cases_as_filed": "cases_as_filed", "corrected_cells": "corrected_cells"},
        asks=IN_PERIOD | CENTRE | {"alert_sd": "audit.alert_sd", "alarm_sd": "audit.alarm_sd"},
        leaves=(
            Leaves(
                "audit_as_filed",
                "",
                "unit n_cells n_gone n_added before_events before_sites before_p_high before_flag after_p_high",
            ),
        ),
        purposes=ONLY,
    ),
    Question(
        name="audit_between",
        says="differences between units beyond chance",
        function=f"{ROOM}.between:fit_audit_between",
        reads={"cases": "cases"},
        asks=IN_PERIOD | CENTRE | CHANCE,
        analyses=(
            Analysis(
                "audit.overdispersion",
                "scatter of the units' counts against that of chance",
                {"simulated": f"sum of squared deviations over binomial variances; simulated from {CLUSTERED}"},
                headline=("simulated",),
                behind=f"{BEHIND}:stays",
            ),
            Analysis(
                "audit.random_effects",
                "the units' rates drawn to their mean, and between which rates a further unit's lies",
                {
                    "adaptive_quadrature": "logistic-normal model, maximum likelihood by adaptive quadrature, counts "
                    "over their design effects"
                },
                headline=("adaptive_quadrature",),
                behind=f"{BEHIND}:stays",
            ),
        ),
        purposes=ONLY,
    ),
    Question(
        name="audit_cusum",
        says="operators over time",
        function=f"{ROOM}.over_time:fit_audit_cusum",
        reads={"cases": "cases"},
        asks=UNITS
        | CENTRE
        | CHANCE
        | {
            "case_mix": "audit.case_mix",
            "odds_ratio": "audit.odds_ratio",
            "false_alarm": "audit.false_alarm",
            "cusum_cases": "audit.cusum_cases",
            "limits": "audit.limits",
        },
        analyses=(
            Analysis(
                "audit.cusum",
                "each operator's CUSUM: limit, false alarms, signals expected and seen, cases to a signal",
                {
                    "up": "risk-adjusted CUSUM that looks for higher odds, limit by simulation",
                    "down": "risk-adjusted CUSUM that looks for lower odds, limit by simulation",
                },
                headline=("up", "down"),
                behind=f"{BEHIND}:stays",
            ),
        ),
        leaves=(
            Leaves(
                "audit_cusum_charts",
                "charts",
                "unit case site_id expected perforated up down observed_less_expected signal",
            ),
            Leaves("audit_time_bands", "bands", "unit case low high"),
        ),
        purposes=ONLY,
    ),
    Question(
        name="audit_learning",
        says="learning",
        function=f"{ROOM}.learning:fit_audit_learning",
        reads={"cases": "cases"},
        asks={"case_mix": "audit.case_mix"},
        analyses=(
            Analysis(
                "audit.learning",
                "risk at an operator's first, fifth, tenth … case, standardised over all sites",
                {
                    "firth": f"{PENALISED} with a spline of log(case number), intercept moved to the observed share, "
                    "bias-reduced covariance",
                    "firth_unmoved": f"{PENALISED} with a spline of log(case number), bias-reduced covariance",
                },
                headline=("firth",),
                behind=f"{BEHIND}:stays",
            ),
        ),
        purposes=ONLY,
    ),
    Question(
        name="audit_year",
        says="year by year",
        function=f"{ROOM}.by_year:fit_audit_year",
        reads={"cases": "cases"},
        analyses=(
            Analysis(
                "audit.year",
                "tears by year, each year against all earlier ones, and the log odds a year",
                {
                    "patients": "shares and their differences, patients as clusters",
                    "profile_or_jackknife": f"{PENALISED}, the wider of profile limits and patients' jackknife",
                },
                headline=("patients", "profile_or_jackknife"),
                behind=f"{BEHIND}:trend",
            ),
        ),
        purposes=ONLY,
    ),
    Question(
        name="audit_indicators",
        says="indicators",
        function=f"{ROOM}.indicators:fit_audit_indicators",
        reads=EVERYTHING,
        asks=IN_PERIOD
        | OF_SITES
        | {
            "standard": "audit.standard",
            "alert_sd": "audit.alert_sd",
            "names": "audit.indicators",
            "own": "audit.own_indicators",
            "months": "survival_months",
        },
        analyses=(
            Analysis(
                "audit.indicator",
                "indicators of schemas/indicators.yaml, of the series and of each unit, against their standards",
                {
                    "patients": "shares and means, patients as clusters",
                    "corrected": "Kaplan-Meier, jackknife over patients times m / (m - 1), log-log interval",
                    "counted": "received over expected",
                },
                headline=("patients", "corrected", "counted"),
                behind=f"{BEHIND}:stays",
            ),
        ),
        leaves=(
            Leaves(
                "audit_indicator_strips",
                "strips",
                "unit indicator title months counts good counted unknown not_applicable not_due n_events value "
                "conf_low conf_high standard standard_kind standard_source standard_date verdict enough",
            ),
            Leaves("audit_received", "received", "unit year expected received"),
        ),
        purposes=ONLY,
    ),
    Question(
        name="audit_benchmark",
        says="beside published series",
        function=f"{ROOM}.benchmark:fit_audit_benchmark",
        reads={"cases": "cases"},
        asks=IN_PERIOD,
        analyses=(
            Analysis(
                "audit.benchmark",
                "published rates pooled, the prediction for a further series, and the place of this one",
                {"adaptive_quadrature": "binomial-normal model, maximum likelihood by adaptive quadrature, t(k - 2)"},
                headline=("adaptive_quadrature",),
                behind=f"{BEHIND}:stays",
            ),
        ),
        leaves=(
            Leaves(
                "audit_published",
                "published",
                "source_key citation group events denominator denominator_unit review status",
            ),
        ),
        purposes=ONLY,
    ),
    Question(
        name="audit_review",
        says="cases to review",
        function=f"{ROOM}.review:list_cases_to_review",
        reads=EVERYTHING,
        asks={"by": "audit.by", "period": "audit.period"} | OF_SITES,
        leaves=(
            Leaves(
                "audit_cases_to_review",
                "listed",
                "place site_id unit most_serious reasons n_reasons operator centre surgery_year tooth approach "
                "protocol rbh_min_mm rbh_max_mm floor_slope_deg planned_last_mm achieved_last_mm last_error_mm "
                "overdrill_mm breakthrough_mm perforation perforation_stage perforation_mm perforation_management "
                "lift_method fluid_ml graft_ml dome_ml placement status failed_months infection sinusitis displacement "
                "reviewer conclusion",
            ),
            Leaves("audit_review_rule", "rule", "rank name title expression n_sites"),
        ),
        purposes=ONLY,
    ),
    Question(
        name="audit_oddities",
        says="odd entries",
        function=f"{ROOM}.oddities:count_odd_sites",
        reads={"cases": "cases", "odd_sites": "odd_sites"},
        asks={"by": "audit.by", "period": "audit.period"},
        leaves=(Leaves("audit_odd_sites", "counted", "unit n_sites n_odd"),),
        purposes=ONLY,
        alone=True,  # so that an oddity accepted makes no estimate anew
    ),
    Question(
        name="audit_actions",
        says="actions of earlier audits",
        function=f"{ROOM}.actions:list_action_effects",
        reads={"actions": "actions"} | EVERYTHING,
        asks=IN_PERIOD | OF_SITES | {"months": "survival_months", "own": "audit.own_indicators"},
        leaves=(
            Leaves(
                "audit_action_effects",
                "effects",
                "id unit indicator good counts since before before_counted before_events now now_counted now_events",
            ),
        ),
        purposes=ONLY,
    ),
)
