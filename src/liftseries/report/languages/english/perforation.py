"""The membrane."""

SENTENCES: dict[str, str] = {
    # how often
    "share": "The membrane was perforated at {sites}: {share} (95% interval {low} to {high}, {how}).",
    "of_sites": "{n_events:count} of the {n_sites:# site|# sites} where this is known",
    "of_sites_few": "{n_events:count} of the {n_sites:# site|# sites} where this is known, under {most}",
    "of_at_most": "{n_events:count} of at most {n_sites:# site|# sites}, {least} or more",
    "of_at_most_few": "{n_events:count} of at most {n_sites:# site|# sites}",
    "of_sites_withheld": "some of the {n_sites:# site|# sites} where this is known; how many is not told",
    "sites_withheld": "sites of so few patients that their number is not told",
    "how_patients": "patients as clusters",
    "how_one_patient": "exact, one patient among all",
    "share_alone": "The membrane was perforated at {sites}.",
    "share_bound": "The membrane was perforated at {sites}; with each patient counted once, {bound} "
    "(one-sided 95% bound).",
    "at_most": "at most {share:percent}",
    "at_least": "at least {share:percent}",
    "narrow": "The interval is narrower than that of independent sites and is to be read with caution.",
    "unknown": "{n_sites:# further site, where it is not known, is|# further sites, where it is not known, are} "
    "left out.",
    # by height
    "height": "With each further mm of residual bone height the odds of a perforation were {ratio} times as high "
    "(p {p:p}; {adjusted}){compatible}.",
    "compatible": ", which is compatible with no association",
    "adjusted": "penalised model, adjusted for {terms:and}",
    "alone": "penalised model with this term alone",
    "adjusted_many": "generalised estimating equation, adjusted for {terms:and}",
    "alone_many": "generalised estimating equation with this term alone",
    "height_risks": "The modelled risk, averaged over the sites of the series, is {risks:and}, from the same fit.",
    "height_risks_alone": "The modelled risk along residual bone height, averaged over the sites of the series, is "
    "{risks:and}.",
    "risk_at": "{risk} at {mm} mm",
    "complete": "The model has {used} of the {n_events:# perforation|# perforations}, as it takes the "
    "{n_sites:# site|# sites} with every term recorded (complete cases).",
    # as recorded
    "stage": "The {n_events:perforation was|# perforations were} noticed most often {told:and}.",
    "stage_drilling": "while drilling ({n:count})",
    "stage_lifting": "while lifting ({n:count})",
    "stage_grafting": "while grafting ({n:count})",
    "stage_placing": "while placing the implant ({n:count})",
    "size": "The largest diameter[[, measured at {n_sites:# site|# sites},]] had a median of {median:decimal1} mm "
    "(quartiles {low:decimal1} to {high:decimal1} mm).",
    "size_median": "The largest diameter[[, measured at {n_sites:# site|# sites},]] had a median of "
    "{median:decimal1} mm.",
    "test": "The membrane was tested {told:and}.",
    "test_item": "by {test} at {n_sites:# site|# sites}",
    "test_none": "not at all at {n_sites:# site|# sites}",
    "by_valsalva": "Valsalva manoeuvre",
    "by_endoscopy": "endoscopy",
    "by_probe": "probe",
    "by_radiograph": "radiograph",
    "by_mixed": "several tests",
    "management": "Most often they were {told:and}.",
    "management_none": "left without a measure ({n:count})",
    "management_membrane": "covered with a membrane ({n:count})",
    "management_suture": "sutured ({n:count})",
    "management_delayed": "answered by postponing the lift ({n:count})",
    "management_abandoned": "answered by abandoning the lift ({n:count})",
    "sequel": "{told:and}: counts, not a comparison of like with like.",
    "of": "{n} of {of}",
    "sequel_failure": "Of the implants followed, {perforated} at perforated sites and {others} at the others failed",
    "sequel_sinusitis": "sinusitis was seen at {perforated} perforated and {others} other sites",
    "unseen": "A perforation that no test showed is not counted: the share would be {told:and}.",
    "unseen_if": "{share:percent} if {part:g}% of all had been found",
    # tables
    "row_stage_drilling": "Noticed while drilling",
    "row_stage_lifting": "Noticed while lifting",
    "row_stage_grafting": "Noticed while grafting",
    "row_stage_placing": "Noticed while placing the implant",
    "row_stage_unknown": "Noticed at a stage not recorded",
    "row_stage_else": "Noticed while {level}",
    "row_test": "Looked for by {test}",
    "row_test_none": "Not looked for",
    "row_management_none": "No measure",
    "row_management_membrane": "Covered with a membrane",
    "row_management_suture": "Sutured",
    "row_management_delayed": "Lift postponed",
    "row_management_abandoned": "Lift abandoned",
    "row_management_other": "Managed otherwise",
    "row_management_unknown": "Management not recorded",
    "row_management_else": "Managed: {level}",
    "row_size": "Largest diameter, mm",
    "measured": "{n:count} measured",
    "median": "median {median:decimal1} [{low:decimal1} to {high:decimal1}]",
    "tears_note": "Stage, management and size are of the perforations, tests of the sites looked at in that way. "
    "Intervals take patients as clusters.",
    "sequel_note": "Counts whatever the time followed ({months}): failures and complications of the implants seen at a "
    "visit. Perforated sites differ from the others in more than the perforation.",
    "months": "median {first:decimal1} and {second:decimal1} months",
    "months_unknown": "not recorded",
    "sequel_row_no_implant": "No implant placed",
    "sequel_row_failure": "Implant failed",
    "few_note": "Too few to be compared: no ratio and no curve.",
    "learning_note": "Patients as clusters. Operators differ in more than their case number, and not all of them reach "
    "the later cases: a lower share there need not be learning.",
    "rate_note": "Sites where perforation is not known are left out. The design effect is the variance with patients "
    "as clusters over that of as many independent sites; below 0.5 it is an alarm, no gain in precision.",
    "methods_note": "The first line of each question is the one that the report quotes.",
    "weak_note": "* Fewer than ten events for a coefficient: set beside the quoted estimate, not to be relied on.",
    "shares_note": "* Open marker: at most one patient has the outcome; the interval is the exact one of as many "
    "chances as there are patients, without an event a one-sided bound.",
    "shares_not_drawn": "Not drawn, for their number: {names:and}; the supplement has their shares.",
    "levels": "{name} ({levels:count} levels)",
    "risk_note": "From the model whose odds ratios are quoted, averaged over the sites of the series.",
    "difference_note": "From the model whose odds ratios are quoted, every site set to the one value, then to the "
    "other. Nothing was randomised: a difference is no effect.",
    "validation_note": "A c statistic of 0.5 tells no site from another, 1 is perfect. An intercept of 0 and a slope "
    "of 1 mean predictions that are right on average and neither too extreme (slope below 1) nor not extreme enough.",
    # figures
    "covers": "{n_sites:# site|# sites} of {n_patients:# patient|# patients}, {n_events:# perforation|# perforations}",
    "alt_shares": "Share of sites whose membrane was perforated. {told}.",
    "alt_risk": "Modelled risk of a perforation along residual bone height, above the number of sites: {told}.",
    "alt_shapes": "Risk of a perforation by a flexible curve; by the model quoted, dashed: {told}.",
    "alt_along": "{measure} {told}",
    "alt_learning": "Share of sites perforated by the operator's case number. {told}.",
    # supplement
    "no_cut_point": "No cut-point of bone height is offered: one chosen from the data moves from sample to sample and "
    "makes a difference look larger than it is.",
    "shape": "The flexible curve shows a shape; the risks that are quoted are those of the table.",
    "nonlinearity": "Non-linearity, tested against a straight line on the logit: {told:and}. A large p does not show "
    "that the line is straight.",
    "nonlinearity_of": "{column} p {p:p}",
    "validation": "As a predictor, corrected for optimism, the model has a c statistic of {c} and a calibration slope "
    "of {slope}. {advice}",
    "usable": "It may be tried on patients of other centres; until then it is no tool for a patient.",
    "not_usable": "It is not to be used to tell a patient's risk: it describes this series and tells sites apart too "
    "poorly.",
    # first page
    "lead_share": "Perforations of the membrane",
    "lead_height": "Perforation by residual bone height",
    "answer_share": "{sites}[[ ({n_patients:# patient|# patients})]]: {share} (95% interval {low} to {high}).",
    "answer_bound": "{sites}[[ ({n_patients:# patient|# patients})]]; {bound} (one-sided 95% bound).",
    "answer_alone": "{sites}.",
    "sure_share": "Patients as clusters; what no test looked for or showed stays unseen.",
    "sure_one_patient": "One patient alone; what no test looked for or showed stays unseen.",
    "sure_none": "No perforation seen; what no test looked for or showed stays unseen.",
    "answer_height": "Odds ratio per mm of residual bone height {ratio}; modelled risk {risks:and}[[ ({n_sites:# "
    "site|# "
    "sites})]].",
    "answer_height_alone": "Odds ratio per mm of residual bone height {ratio}[[ ({n_sites:# site|# sites})]].",
    "answer_risks_alone": "Modelled risk {risks:and}[[ ({n_sites:# site|# sites})]].",
    "sure_open": "[[{n_events:# perforation|# perforations} in the model; ]]the interval includes 1: compatible "
    "with no "
    "association.",
    "sure_height": "[[{n_events:# perforation|# perforations} in the model; ]]associated with, as nothing was "
    "randomised.",
    # methods
    "lead_rates": "Rates of perforation",
    "method_rates": "Sites perforated over sites known. The variance is that of the patients' sums about the share, "
    "times m / (m - 1), m the smaller of the patients with a perforation and those with a site without; the interval "
    "is on the logit, from t with K - 1 degrees of freedom, K the patients. Beside it: Wilson (1927, "
    "doi:10.1080/01621459.1927.10502953) and exact (Clopper and Pearson 1934, doi:10.1093/biomet/26.4.404), which take "
    "sites as independent; and a logistic generalised estimating equation with a constant only. {left_out}",
    "lead_nothing": "Where nothing happened",
    "method_nothing": "Without an event there is no clustered interval. The one-sided bound is exact for as many "
    "independent chances as there are patients, 1 - 0.05^(1/n) (Hanley and Lippman-Hand 1983, "
    "doi:10.1001/jama.1983.03330370053031). Where one patient alone has the outcome, the interval is the exact one of "
    "one patient among all.",
    "lead_odds": "Odds of a perforation",
    "method_odds": "Below 500 perforations: Firth's penalised logistic model, the wider of its profile interval and "
    "of the jackknife over patients. From there on: a logistic generalised estimating equation, exchangeable within "
    "the patient (Liang and Zeger 1986, doi:10.1093/biomet/73.1.13), with the larger of the bias-reduced and of the "
    "model's variance. Fewer than 5 perforations give no ratio, 5 to 9 one coefficient, 10 and more one for every "
    "five; where the plan has more terms, the first of them that fit are taken. Terms: {terms}. {left_out}",
    "lead_risks": "Risk along height and lift",
    "method_risks": "A risk is the mean over all sites used with the measure set to one value (Localio, Margolis and "
    "Berlin 2007, doi:10.1016/j.jclinepi.2006.12.001), from the model whose odds ratio is quoted; planned lift (the "
    "length of the implant beyond the sinus floor), where it is no term, is added to it. The penalised model's "
    "intercept is moved until its mean risk is the observed share (Puhr and others 2017, doi:10.1002/sim.7273); the "
    "variance comes from leaving patients out, each time with a fit and an intercept of its own, t with m - 1 degrees "
    "of freedom. From 20 perforations on a restricted cubic spline, knots at the 10th, 50th and 90th percentile, by "
    "generalised estimating equations, stands beside it; the p-value of non-linearity is that of its non-linear term.",
    "lead_predictor": "The model as a predictor",
    "method_predictor": "From 20 perforations on, the model is fitted to {n:# resample|# resamples} of patients and "
    "tried on the series; the mean difference is its optimism (Harrell, Lee and Mark 1996). The c statistic's standard "
    "error sums placement values within patients (Obuchowski 1997, doi:10.2307/2533958). Then each centre is predicted "
    "by a model without it.",
    "fewer_resamples": "The plan asks for {asked:# resample|# resamples}; above {many} events fewer are drawn, in "
    "inverse proportion to the events and never fewer than {fewest}, as the error of many events needs no more.",
    "left_out": "Left out: {told:and}.",
    "none_left_out": "No site was left out.",
    "left_out_item": "{n_sites:# site|# sites} ({reason})",
}
