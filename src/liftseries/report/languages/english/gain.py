"""Bone gain, marginal bone, torque and stability."""

SENTENCES: dict[str, str] = {
    # what is measured
    "gain_is": (
        "Bone gain is the bone height at a visit less the residual bone height in the middle of the footprint; in an "
        "image graft may pass for bone."
    ),
    "marginal_is": "The marginal bone level is how far the bone at the implant's neck lies below its platform.",
    # bone gain
    "gain_at": (
        "The mean bone gain at {month} months was {mean}[[ over {sites:# site|# sites} of "
        "{patients:# patient|# patients}]]."
    ),
    "gain_rises": "By the mixed model it rose by {size} a year.",
    "gain_falls": "By the mixed model it fell by {size} a year.",
    "gain_either": "By the mixed model it changed by {size} a year, which is compatible with a rise and with a fall.",
    "graft_chosen": (
        "Grafts were chosen, not allotted: what is associated with a graft may be due to why it was chosen, or be the "
        "graft itself, seen as bone."
    ),
    # marginal bone
    "marginal_at": "On average it lay {means:and}.",
    "mean_at": "{mean} below the platform at {month} months[[ ({sites:# site|# sites})]]",
    "mean_at_too": "{mean} at {month} months[[ ({sites:# site|# sites})]]",
    "marginal_sinks": "By the mixed model it lay {size} deeper with each year.",
    "marginal_rises": "By the mixed model it lay {size} higher with each year.",
    "marginal_either": (
        "By the mixed model it changed by {size} a year (positive: deeper), which is compatible with either direction."
    ),
    "far": "It lay more than {limit} mm below the platform at {shares:and}.",
    "far_none": "none of {sites:# site|# sites} at {month} months (at most {bound:percent})",
    "far_all": "all of {sites:# site|# sites} at {month} months (at least {bound:percent})",
    "far_some": "{events} of {sites:# site|# sites} at {month} months ({share})",
    # at placement
    "torque": "At placement the mean insertion torque was {mean} at {sites:# site|# sites}.",
    "torque_by": "At placement the mean insertion torque was {mean}[[ at {sites:# site|# sites}]]: {levels:and}.",
    "isq": "The mean stability quotient (ISQ) was {mean}[[ at {sites:# site|# sites}]].",
    "isq_by": "The mean stability quotient (ISQ) was {mean}[[ at {sites:# site|# sites}]]: {levels:and}.",
    "in_quality": "{mean} in bone of quality {level}",
    "in_quality_too": "{mean} in {level}",
    # the first page
    "answer_lead": "Bone",
    "answer_gain": "The mean bone gain at {month} months was {mean}[[ at {sites:# site|# sites}]].",
    "answer_gain_rises": (
        "The mean bone gain at {month} months was {mean}[[ at {sites:# site|# sites}]]; by the mixed model it rose by "
        "{size} a year."
    ),
    "answer_gain_falls": (
        "The mean bone gain at {month} months was {mean}[[ at {sites:# site|# sites}]]; by the mixed model it fell by "
        "{size} a year."
    ),
    "answer_gain_either": (
        "The mean bone gain at {month} months was {mean}[[ at {sites:# site|# sites}]]; by the mixed model it "
        "changed by "
        "{size} a year."
    ),
    "answer_marginal": "The marginal bone lay {means:and}.",
    "sure_measured": (
        "{sites:# site|# sites} of {total} measured at {month} months; in an image graft may pass for bone"
    ),
    "sure_marginal": "{sites:# site|# sites} of {total} measured at {month} months",
    "sure_image": "in an image graft may pass for bone",
    # the supplement
    "scatter": (
        "Around what the terms of the model say, the bone gain scatters with a standard deviation of {parts:and}"
        "[[ ({visits:# measurement|# measurements})]]."
    ),
    "between_patients": "{sd:decimal} mm between patients",
    "between_sites": "{sd:decimal} mm between sites of a patient",
    "between_measurements": "{sd:decimal} mm between measurements of a site",
    "scatter_no_correlation": (
        "How alike the gains of a patient's sites are as measured, before any term, is another question: see {where}."
    ),
    "at_months_note": (
        "Over the sites measured within three months of the month, each by its nearest measurement; intervals with "
        "patients as clusters. The mean gain is worked out at 12 months."
    ),
    "terms_note": (
        "Linear mixed models, each term adjusted for the others of its outcome. Quoted: variance the larger of the "
        "patients' sandwich and the model's own, which stands beside it."
    ),
    "stability_note": (
        "Sites with an implant whose value was recorded; means with patients as clusters. Fewer than five measurements "
        "are counted and not described."
    ),
    # the figure
    "figure_alt": "Means over time since placement. {panels}.",
    "figure_panel": "{title}: {means:and}",
    "figure_mean": "{mean} at {month} months[[ ({n:# measurement|# measurements})]]",
    "covers_gain": "gain[[: {sites:# site|# sites} of {patients:# patient|# patients}]]",
    "covers_marginal": "marginal bone[[: {sites:# site|# sites} of {patients:# patient|# patients}]]",
    # methods
    "method_gain_lead": "Bone gain",
    "method_gain": (
        "Linear mixed model by restricted maximum likelihood, random intercepts for the patient and for the site "
        "within the patient. Terms: {terms}. Its variance is the larger of the patients' sandwich times K / (K - 1), "
        "K patients, and of the model's own. The mean at 12 months is that of the sites measured within three months "
        "of it, each once, with patients as clusters.{left_out}"
    ),
    "method_marginal_lead": "Marginal bone",
    "method_marginal": (
        "Linear mixed model on months and healing, random intercepts for the patient and for the site within the "
        "patient. Means, and the share more than {limit} mm below the platform, take each site's measurement nearest "
        "to the month, at most three months away, with patients as clusters.{left_out}"
    ),
    "method_stability_lead": "Torque and stability quotient",
    "method_stability": "Means over the sites with a recorded value, with patients as clusters.",
}
