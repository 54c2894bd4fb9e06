"""Limits, methods, what was not possible; what stands at both ends of the supplement."""

SENTENCES: dict[str, str] = {
    # ── limits ─────────────────────────────────────────────────────────────────────────────────────────────────
    "lead_not_randomised": "Not randomised",
    "lead_few_events": "Few events",
    "lead_detection": "Detection",
    "lead_follow_up": "Follow-up",
    "lead_height": "A shared measurement",
    "lead_missing": "Missing values",
    "lead_reading": "How files were read",
    "lead_log": "Drilling log",
    "lead_many": "Many numbers",
    "not_collected": "Some centres never recorded {columns:and}; at their sites these are missing.",
    "planned_months": (
        "Some files have visits in columns headed by a month: these visits stand at the month planned, not at the one "
        "in which the patient came."
    ),
    "empty_means": "In some files an empty cell was taken for an answer: {columns:and}.",
    "empty_outcome": (
        "In some files an empty cell was taken for an answer on an outcome ({columns:and}), so that what nobody "
        "recorded there counts as seen."
    ),
    "empty_outcome_cells": "{meant} ({cells:# cell|# cells})",
    "empty_without": "Without these cells: {shares:and}.",
    "empty_perforation": "{share} of sites perforated",
    "empty_survival": "survival at month {months:g} {share}",
    "empty_complication": "{share} of patients with a complication",
    "not_randomised": "Nothing was randomised: a difference between groups can come from who was chosen for which.",
    "chosen": (
        "Who was treated how was decided by people who saw the patient, so that a difference between groups can come "
        "from how they were chosen. Models adjust for what was recorded, not for what was not."
    ),
    "entangled": (
        "Nothing was randomised, and approach goes with protocol (guided at {most:percent} of sites under protocol "
        "{most_of}, {least:percent} under {least_of}), so that their associations cannot be told apart."
    ),
    "few_events": "{events:and}: so few that what a model does not show may still be there.",
    "perforations_for": "{events:# perforation|# perforations} for {terms:# term|# terms}",
    "failures_for": "{events:# failure|# failures} for {terms:# term|# terms}",
    "perforations_for_none": "{events:# perforation|# perforations}",
    "failures_for_none": "{events:# failure|# failures}",
    "no_event": "No implant failed and no membrane was perforated, so that neither can be compared between groups.",
    "no_failure": "No implant failed, so that nothing can be compared for failure.",
    "no_perforation": "No membrane was perforated, so that nothing can be compared for perforation.",
    "entangled_too": (
        "Approach goes with protocol (guided at {most:percent} of sites under protocol {most_of}, {least:percent} "
        "under {least_of}), so that their associations cannot be told apart."
    ),
    "tested": "A perforation counts where the test used at the site could show it; others stay unseen.",
    "tested_but": (
        "A perforation counts where the test used at the site could show it; at {sites:# site|# sites} no test was "
        "made."
    ),
    "unknown_perforation": (
        "At {sites:# site|# sites} it is unknown whether the membrane was perforated; {sites:it stays|they stay} out."
    ),
    "dated": (
        "A failure found at a visit happened at some time since the visit before; it is dated at the visit that found "
        "it, so that survival before that visit is slightly overestimated."
    ),
    "lost": (
        "Of {due:# implant|# implants} due at month {months:g}, {lost:# implant was|# implants were} lost to "
        "follow-up; if implants lost fail more often than the others, survival is overestimated."
    ),
    "shared_height": (
        "Bone gain is worked out from the residual bone height, and so are terms of its model: an error in measuring "
        "that height moves both, so that they are correlated more than the bone is."
    ),
    "gaps": (
        "Of what the models take, values are missing: {gaps:and}. Models take complete cases; imputing missing terms "
        "helps where what is missing can be predicted from what is known. An unknown perforation is never imputed."
    ),
    "gap": "{column} at {sites:# site|# sites}",
    "log": (
        "A drilling log exists for {logged} of {sites:# site|# sites}. Depths are worked out from instrument, stop and "
        "platform, not measured in the jaw, and a deviation that nobody logged stays unseen."
    ),
    "many_numbers": (
        "Intervals are not widened for their number: about one in twenty misses the truth even if every assumption "
        "holds."
    ),
    # ── methods in short ───────────────────────────────────────────────────────────────────────────────────────
    "lead_methods": "Methods",
    "method_unit": ("The unit is the site; intervals are {level:g}% and allow for sites of one patient being alike."),
    "method_ladder": (
        "The ladder is the plan of a site: its first rung is the deepest reachable depth {margin} short of the "
        "lowest sinus floor, each further rung at most {step:g} mm deeper; "
        "depths within {tolerance:g} mm count as equal."
    ),
    "margin": "{mm:g} mm",
    "margins": "{guided:g} mm (guided) or {freehand:g} mm (freehand)",
    "method_adherence": "A site was drilled as planned where no deviation that can be judged from its log is true.",
    "method_share": "The share perforated is sites perforated over sites where it is known.",
    "method_odds": (
        "Associations with a perforation are odds ratios from a logistic model of {terms:and}, Firth-penalised, with "
        "the wider of the profile interval and the jackknife over patients; the risks stated come from the same model."
    ),
    "method_odds_many": (
        "Associations with a perforation are odds ratios from a logistic model of {terms:and} by generalised "
        "estimating equations; the risks stated come from the same model."
    ),
    "method_survival": (
        "Survival is by Kaplan-Meier, a failure dated at the visit that found it, and is stated while {fewest:g} "
        "implants and a tenth of all are at risk."
    ),
    "method_hazards": (
        "Associations with failure are hazard ratios from a Cox model of {terms:and}, Firth-penalised, with the wider "
        "of the profile interval and the jackknife over patients."
    ),
    "method_hazards_many": (
        "Associations with failure are hazard ratios from a Cox model of {terms:and} with errors clustered by patient."
    ),
    "method_gain": (
        "Bone gain is bone height at a visit less residual bone height; its changes, and those of the marginal bone "
        "level, come from linear mixed models with intercepts for patient and site."
    ),
    "method_gates": (
        "Fewer than {ratio:g} events give no ratio, fewer than {many:g} one term, and from there on one term for every "
        "{each:g} events."
    ),
    "method_missing": "Models take complete cases; {sets:# imputed set stands|# imputed sets stand} beside them.",
    "method_more": "The supplement has definitions, references and the same questions by other methods.",
    # ── what was not possible ──────────────────────────────────────────────────────────────────────────────────
    "not_possible": "What was not possible, and why:",
    "no_log": (
        "There is no drilling log, so nothing can be said of the depths drilled, of deviations from the plan and of "
        "how the drilling ended."
    ),
    "no_visits": (
        "No implant was seen at a visit, so nothing can be said of follow-up, survival, complications, bone gain and "
        "marginal bone."
    ),
    "none_failed": "No implant failed, so that there is nothing to tell of {subjects:and}.",
    "none_torn": "No membrane was perforated, so that there is nothing to tell of {subjects:and}.",
    "few_failed": "{events:# failure is|# failures are} too few for {subjects:and}.",
    "few_torn": "{events:# perforation is|# perforations are} too few for {subjects:and}.",
    "few_terms_failed": (
        "{events:# failure is|# failures are} too few for all terms of the plan; left out of associations with "
        "failure: {terms:and}."
    ),
    "few_terms_torn": (
        "{events:# perforation is|# perforations are} too few for all terms of the plan; left out of associations with "
        "a perforation: {terms:and}."
    ),
    "at_risk": (
        "Fewer than {fewest:g} implants, or a tenth of all, were at risk at {months:and} months, so that survival is "
        "not stated there."
    ),
    "too_little": "too little was measured",
    "because": "{subjects:and}: {reason}.",
    "of_share_torn": "the share of sites perforated",
    "of_torn_terms": "associations with a perforation",
    "of_risks": "risks by residual bone height and planned lift",
    "of_prediction": "the model as a predictor",
    "of_tears": "stage, size and management of perforations",
    "of_surgery": "surgery as recorded",
    "of_follow_up": "completeness and length of follow-up",
    "of_survival": "implant survival",
    "of_failed_terms": "associations with implant failure",
    "of_between_visits": "survival with failures placed between visits",
    "of_over_time": "hazard ratios over time",
    "of_competing": "failure with death competing",
    "of_months": "mean months in function",
    "of_patients": "a patient's first failure",
    "of_landmark": "later failure by bone gain",
    "of_complications": "complications",
    "of_gain": "bone gain",
    "of_marginal": "the marginal bone level",
    "of_stability": "insertion torque and stability",
    "of_alike": "how alike the sites of a patient are",
    "of_ended": "how the drilling ended",
    "of_adherence": "sites drilled as planned",
    "of_agreement": "agreement of achieved with planned depths",
    "of_reading": "gauge readings against the computed depth",
    "of_error": "error along the planned depth",
    "of_deviations": "deviations from the plan",
    "of_unmeasured": "what an unmeasured cause could explain",
    "of_overlooked": "what overlooked perforations would change",
    "of_lost": "what implants lost to follow-up would change",
    "of_filled_cells": "what empty cells taken for an answer would change",
    # ── supplement: methods that belong to no outcome ──────────────────────────────────────────────────────────
    "lead_clustering": "Clustering",
    "clustering": (
        "Sites of one patient are not independent. Intervals are by patient wherever the method says so. Below "
        "{few:g} patients, clustered intervals of rates, odds ratios, bone gain and depths come from Student's t, "
        "those of rates and odds ratios with a bias-reduced covariance (Mancl and DeRouen 2001, "
        "doi:10.1111/j.0006-341X.2001.00126.x); those of survival and hazards stay normal. A value “unknown” is "
        "missing, and models take complete cases."
    ),
    "lead_separation": "Few events and separation",
    "separation": (
        "Before a model of events is fitted, a linear programme asks whether its terms tell events from the rest; if "
        "so the ratio is left empty and the term named. Firth's penalty keeps estimates finite (Firth 1993, "
        "doi:10.1093/biomet/80.1.27; Heinze and Schemper 2001 and 2002, doi:10.1111/j.0006-341X.2001.00114.x, "
        "doi:10.1002/sim.1047). Its profile interval takes sites as independent; the jackknife leaves out one patient "
        "at a time. The report quotes the wider of both, since a sandwich gathers its variance from the few patients "
        "with an event. Five events a term follow Vittinghoff and McCulloch (2007, doi:10.1093/aje/kwk052); the other "
        "limits are common practice."
    ),
    "lead_simulated": "Intervals tried",
    "simulated": (
        "The intervals quoted were tried on {designs:# kind|# kinds} of simulated series of 60 to 150 patients with 2 "
        "to 5% events, among them series whose patients with many sites have more events, or fewer, whose risk is not "
        "straight along the bone height, and whose patients' effects or slopes differ widely. They held the truth in "
        "{least:percent} to {most:percent} of the series; reports/coverage.csv of the source has each analysis."
    ),
    "lead_imputation": "Missing terms",
    "imputation": (
        "{sets:# completed set|# completed sets} by chained equations, {rounds:# round|# rounds} each (van Buuren "
        "2007, doi:10.1177/0962280206074463), from the model's terms, the outcome and {helpers}. Numbers are matched "
        "to donors, levels drawn from logistic models; what belongs to a patient is imputed once a patient. The "
        "outcome is a predictor, for survival as the event and the Nelson-Aalen hazard (White and Royston 2009, "
        "doi:10.1002/sim.3618), and is never imputed. Estimates are pooled by Rubin's rules with the degrees of "
        "freedom of Barnard and Rubin (1999, doi:10.1093/biomet/86.4.948)."
    ),
    "fewer_sets": "The plan asks for {asked:# set|# sets}; above {many} events fewer are drawn, in inverse proportion "
    "to the events and never fewer than {fewest}; results.csv says how many of each outcome. Each model is fitted to "
    "{fitted} patients or sites at most, drawn anew.",
    "no_helpers": "nothing else",
    "lead_random": "Random numbers",
    "random": (
        "Resamples and imputed sets start from {seed}; each has its own seed, so that the answer does not depend on "
        "how they were spread over jobs."
    ),
    "lead_references": "Reference levels",
    "references": (
        "{levels:and}. Where a reference did not occur, the method beside the estimate names the one that stood in."
    ),
    "reference": "{column}: {level}",
    "no_references": "No term of the models has levels.",
    # ── supplement: left out, imputed ──────────────────────────────────────────────────────────────────────────
    "left_out": "Sites left out of {subjects}: {reasons:and}.",
    "left_out_reason": "{sites} ({reason})",
    "left_out_files": (
        "The folder tables has sites left out by analysis and group (left_out.csv) and what each term was imputed from "
        "(imputation.csv)."
    ),
    "imputed": "Imputed for the model of {model}: {terms:and}.",
    "imputed_of_patient": "{column} of {n:# patient|# patients}",
    "imputed_of_site": "{column} of {n:# site|# sites}",
    "model_torn": "a perforation",
    "model_failed": "implant failure",
    # ── supplement: checklist, index, versions ─────────────────────────────────────────────────────────────────
    "checklist_item": "{number}. {text}",
    "item_summary": "Summary: what was done and what was found",
    "item_background": "Background and reasons (the author's to write)",
    "item_objectives": "Objectives: the study's question",
    "item_design": "Study design, stated early",
    "item_setting": "Setting: where and when, follow-up, end of the data",
    "item_participants": "Participants: who is in the series (eligibility is the author's to write)",
    "item_variables": "Outcomes, exposures and other variables, defined",
    "item_measurement": "How each was measured, and by what",
    "item_bias": "Efforts to address bias",
    "item_size": "Study size, and how it came about",
    "item_quantities": "How measurements were handled: bands, curves, units",
    "item_adjustment": "Statistical methods: estimates, intervals, adjustment, clustering",
    "item_gaps": "Statistical methods: missing values, loss to follow-up",
    "item_sensitivity": "Statistical methods: sensitivity analyses",
    "item_flow": "Numbers at each stage, with a diagram",
    "item_described": "Characteristics; missing values of each measure",
    "item_followed": "Follow-up time and completeness",
    "item_outcomes": "Numbers of outcome events and measurements",
    "item_results": "Main results with intervals, adjusted and as counted",
    "item_further": "Other analyses: groups, prediction, other methods, sensitivity",
    "item_key": "Key results against the objectives",
    "item_limits": "Limits: sources of bias and imprecision",
    "item_interpretation": "Interpretation (the author's to write)",
    "item_generalisability": "How far the results hold elsewhere (the author's to write)",
    "item_funding": "Funding (the author's to write)",
    "item_heading": "Item",
    "item_places": "Where",
    "checklist": (
        "After the items of STROBE for observational studies (von Elm and others 2007, "
        "doi:10.1016/j.jclinepi.2007.11.008), in words of our own."
    ),
    "index": (
        "Every row of results.csv behind this report and where it is printed: rows of one analysis that stand in the "
        "same places share a line. Of design effects an analysis and their number share one. “results.csv only”: no "
        "page prints it."
    ),
    "index_chapter": "chapter {number}",
    "index_none": "results.csv only",
    "index_design_effects": "{analysis}: {n:g}",
    "seed": "Random numbers start from {seed}.",
    "plan_elsewhere": (
        "The plan, every default filled in, and the hash of every output stand in manifest.json, as the run read and "
        "left them."
    ),
    "since_rows": "Since the run before, on other files or another plan, rows of tables changed: {tables:and}.",
    "since_table": "{table} ({new:count} new, {gone:count} gone, {changed:count} changed)",
    "since_no_rows": "Since the run before, on other files or another plan, no row of the tables changed.",
    "since_headlines": (
        "Of the quoted estimates {moved:count} moved, {new:count} {new:is|are} new and {gone:count} {gone:is|are} gone."
    ),
    "since_where": "`liftseries changes` lists them.",
    "plan_released": "The plan's numbers and terms, as the run read them:",
}
