"""What goes with the outcomes: perforation, failure, bone gain."""

SENTENCES: dict[str, str] = {
    "lead": "Nothing was randomised: these are associations, each adjusted for the other terms of the same model.",
    "lead_alone": "Nothing was randomised: these are associations.",
    "difference": "Per 100 sites, the modelled risk of a perforation is {told:and}.",
    "lower": "lower by {numbers} where {column} is {to} rather than {start}",
    "higher": "higher by {numbers} where {column} is {to} rather than {start}",
    "entangled": "Approach goes with protocol: guided at {most:percent} of the sites of protocol {most_of} and "
    "{least:percent} of protocol {least_of}, so that what is associated with the one may be due to the other.",
    "graft": "Graft was chosen for the site, and graft may pass for bone on a radiograph.",
    "heading_perforation": "Perforation: odds ratio",
    "heading_failure": "Failure: hazard ratio",
    "heading_gain": "Bone gain: difference, mm",
    "per_year": "Time, per year",
    "interval": "An interval that includes 1 (for a difference, 0) is compatible with no association.",
    "interval_ratio": "An interval that includes 1 is compatible with no association.",
    "interval_difference": "An interval that includes 0 is compatible with no association.",
    "penalised": "Odds and hazard ratios: penalised likelihood, the wider of profile and patient-jackknife interval.",
    "penalised_odds": "Odds ratios: penalised likelihood, the wider of profile and patient-jackknife interval.",
    "penalised_hazards": "Hazard ratios: penalised likelihood, the wider of profile and patient-jackknife interval.",
    "gain": "Bone gain: mixed model of all visits, patient-clustered variance.",
    "complete": "Sites with every term recorded (complete cases).",
    "not_in_model": "Too few events for all terms of the plan: without {terms:and} ({outcomes:and}).",
    "of_perforation": "perforation",
    "of_failure": "failure",
    "bent": (
        "The association with {term} is not linear (p {p:p}): one ratio or difference does not describe it, "
        "the curve in the supplement does."
    ),
}
