"""What could change the answers: its questions."""

from liftseries.models.shared.question import Analysis, Leaves, Question

TITLE = "What could change the answers"
BEHIND = "liftseries.models.sensitivity.behind"
BEHIND_PERFORATION = "liftseries.models.perforation.behind"

ALIKE = (
    Question(
        name="measurement_icc",
        says="how alike sites are",
        function="liftseries.models.sensitivity.icc:fit_measurement_icc",
        reads={"cases": "cases", "visits": "visits"},
        analyses=(
            Analysis(
                "measurement.icc",
                "how alike the sites of a patient are",
                {
                    "one_way": "one-way variance components, limits from F",
                    "one_way_jackknife": "one-way variance components, patient jackknife on Fisher z",
                    "reml_patient": "REML of all visits and their months, two sites of a patient",
                    "reml_site": "REML of all visits and their months, two visits of a site",
                },
                behind=f"{BEHIND}:alike",
            ),
        ),
    ),
)
QUESTIONS = (
    Question(
        name="sensitivity_evalue",
        says="unmeasured causes",
        function="liftseries.models.sensitivity.evalue:fit_sensitivity_evalue",
        reads={
            "perforation": "estimates:perforation_gee",
            "survival": "estimates:survival_cox",
            "penalised_perforation": "estimates:perforation_firth",
            "penalised_survival": "estimates:survival_firth_cox",
        },
        analyses=(
            Analysis(
                "sensitivity.evalue",
                "how strong an unmeasured cause would have to be",
                {"odds_ratio": "E-value of an odds ratio", "hazard_ratio": "E-value of a hazard ratio"},
                headline=("odds_ratio", "hazard_ratio"),
                of_row=True,
            ),
        ),
    ),
    Question(
        name="sensitivity_detection",
        says="overlooked tears",
        function="liftseries.models.sensitivity.detection:fit_sensitivity_detection",
        reads={"cases": "cases"},
        by=("approach",),
        analyses=(
            Analysis(
                "sensitivity.detection",
                "rates if tears were overlooked",
                {"patients": "share of sites, patients as clusters, over the share of tears seen"},
                behind=f"{BEHIND_PERFORATION}:rate",
                outcome="perforation",
            ),
            Analysis(
                "sensitivity.detection_contrast",
                "and contrasts",
                {"cluster": "odds over the share of tears seen, patient-clustered"},
                behind=f"{BEHIND}:detection_contrast",
                outcome="perforation",
            ),
        ),
    ),
    Question(
        name="sensitivity_lost",
        says="implants lost to follow-up",
        function="liftseries.models.sensitivity.lost:fit_sensitivity_lost",
        reads={"implants": "implants", "cases": "cases", "visits": "visits"},
        asks={"months": "survival_months", "data_until": "data_until"},
        analyses=(
            Analysis(
                "sensitivity.lost_implants",
                "survival if the implants lost to follow-up fared best or worst",
                {
                    "as_observed": "as observed",
                    "best_case": "best case: all implants lost to follow-up last",
                    "worst_case": "worst case: all implants lost to follow-up fail right after their last visit",
                },
                core=("worst_case",),
                behind=f"{BEHIND}:lost",
                outcome="survival",
            ),
            Analysis(
                "sensitivity.tipping_point",
                "how many of them it takes",
                {"tipping_point": "share of the implants lost to follow-up that must have failed"},
                behind=f"{BEHIND}:lost",
                outcome="survival",
            ),
        ),
    ),
    Question(
        name="sensitivity_filled_cells",
        says="empty cells taken for an answer",
        function="liftseries.models.sensitivity.filled_cells:fit_sensitivity_filled_cells",
        reads={"cases": "cases", "visits": "visits", "filled": "filled_cells"},
        asks={"months": "survival_months"},
        analyses=(
            Analysis(
                "sensitivity.filled_cells",
                "outcomes without the cells that were empty in their file and were taken for an answer (`empty_means`)",
                {
                    "patients": "as the quoted row of perforation.rate or complications.rate, those cells not recorded",
                    "corrected": "as the quoted row of survival.km, without the visits whose status was empty",
                },
                behind=f"{BEHIND}:filled_cells",
            ),
        ),
        purposes=("publication", "comparison", "audit"),
    ),
    Question(
        name="second_opinion",
        says="a second opinion from other libraries",
        function="liftseries.models.sensitivity.second_opinion:fit_second_opinion",
        reads={
            "cases": "cases",
            "implants": "implants",
            "visits": "visits",
            "rates": "estimates:perforation_rate",
            "odds": "estimates:perforation_gee",
            "curve": "estimates:survival_km",
            "incidence": "estimates:survival_competing",
            "hazards": "estimates:survival_cox",
            "times": "estimates:survival_interval",
            "gain": "estimates:gain_mixed",
        },
        asks={name: name for name in ("perforation_terms", "survival_terms", "gain_terms")},
        leaves=(
            Leaves(
                "second_opinion",
                "",
                "analysis method library n_compared estimate_difference error_difference reason problem",
            ),
        ),
        alone=True,
    ),
)
