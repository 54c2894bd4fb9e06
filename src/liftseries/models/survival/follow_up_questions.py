"""How long implants stay: its questions on follow-up and on complications."""

from liftseries.disclosure.declared import TableRules
from liftseries.models.shared.question import Analysis, Leaves, Question

BEHIND = "liftseries.models.survival.follow_up_behind"

COMPLETENESS = Question(
    name="followup_completeness",
    says="completeness of follow-up",
    function="liftseries.models.survival.completeness:fit_followup_completeness",
    reads={"cases": "cases", "implants": "implants", "visits": "visits"},
    asks={"months": "survival_months", "data_until": "data_until"},
    analyses=(
        Analysis(
            "followup.completeness",
            "implants due at each planned month: the share of which it is known how they fared",
            {"patients": "share of the implants due, patients as clusters"},
            headline=("patients",),
            core=("patients",),
            good=True,
            behind=f"{BEHIND}:completeness",
        ),
    ),
    leaves=(
        Leaves(
            "followup_by_month",
            "by_month",
            "months n_placed n_not_yet_due n_due n_seen n_ended n_lost n_never_seen",
            TableRules(
                ("n_placed", "n_not_yet_due", "n_due", "n_seen", "n_ended", "n_lost", "n_never_seen"),
                labels=("months",),
                behind=f"{BEHIND}:by_month",
            ),
        ),
        # The latest month that the tables imply is that of one visit: it stays in the house.
        Leaves("followup_closed", "closed", "month implied"),
    ),
)
TIME = Question(
    name="followup_time",
    says="time observed",
    function="liftseries.models.survival.time_observed:fit_followup_time",
    reads={"implants": "implants"},
    analyses=(
        Analysis(
            "followup.median",
            "median follow-up and its quartiles, months",
            {
                "reverse_kaplan_meier": "reverse Kaplan-Meier: a failure or a death censors; limits where the "
                "patient-clustered log-log band crosses the share"
            },
            headline=("reverse_kaplan_meier",),
            behind=f"{BEHIND}:median",
            outcome="survival",
        ),
        Analysis(
            "followup.implant_years",
            "implant-years observed",
            {"counted": "sum of the months followed"},
            headline=("counted",),
            behind=f"{BEHIND}:years",
            outcome="survival",
        ),
        Analysis(
            "followup.rate",
            "failures per 100 implant-years",
            {"patients": "failures over implant-years, patients as clusters, log interval"},
            headline=("patients",),
            behind=f"{BEHIND}:rate",
            outcome="survival",
        ),
        Analysis(
            "followup.failures",
            "failures, those found by month 12 (early) and later, and the patients who bear them",
            {"counted": "counted"},
            headline=("counted",),
            core=("counted",),
            behind=f"{BEHIND}:failures",
            outcome="survival",
        ),
    ),
)
OF_COMPLICATIONS = {
    "patients": "share of patients, exact interval",
    "sites": "share of sites, patients as clusters",
}
COMPLICATIONS = Question(
    name="complications",
    says="complications",
    function="liftseries.models.survival.complications:fit_complications",
    reads={"visits": "visits", "cases": "cases"},
    by=("protocol",),
    analyses=(
        Analysis(
            "complications.rate",
            "patients and sites with each kind of complication at any visit",
            OF_COMPLICATIONS,
            headline=("patients",),
            core=("patients", "sites"),
            behind=f"{BEHIND}:complications",
        ),
        Analysis(
            "complications.first_year",
            "the same at the visits up to month 12",
            OF_COMPLICATIONS,
            headline=("patients",),
            core=("patients", "sites"),
            behind=f"{BEHIND}:complications",
        ),
    ),
)
