"""The room on implant survival."""

SENTENCES: dict[str, str] = {
    # Parts that several sentences are joined from.
    "at_least": "at least {low}",
    "at_most": "at most {high}",
    "at_month": "{share} at {month} months",
    "covers": "{implants:# implant|# implants} of {patients:# patient|# patients}, {failures:# failure|# failures}",
    "ratio": "{term}, {numbers}",
    # Survival at the months of the plan.
    "shares": (
        "Implant survival was {shares:and} (Kaplan-Meier, 95% intervals with patients as clusters); "
        "{at_risk:# implant was|# implants were} at risk at month {month}. This is survival, not success: an implant "
        "counts while it is in function, whatever its bone level and soft tissue."
    ),
    "bounds": (
        "No implant failed: survival was {shares:and} (one-sided 95% bound, each patient counted once); "
        "{at_risk:# implant was|# implants were} at risk at month {month}. This is survival, not success: an implant "
        "counts while it is in function, whatever its bone level and soft tissue."
    ),
    "bounds_among": "“At least” is a one-sided 95% bound, as no implant had failed by then; each patient counts once.",
    "narrow": (
        "The interval at month {month} is narrower than that of independent implants would be: an alarm, no gain in "
        "precision."
    ),
    "not_stated": (
        "Survival at {months:and} months is not stated: fewer than {fewest:# implant|# implants}, or a tenth of all, "
        "were at risk."
    ),
    "withheld": "Survival at some months of the plan is withheld.",
    "withheld_all": "Survival at the months of the plan is withheld.",
    "competing": "With death as a competing event, {share} of the implants had failed by month {month}.",
    # Failures.
    "failures": (
        "{failures:# failure was|# failures were} found, in {patients:# patient|# patients}: {rate} per 100 "
        "implant-years, over {years} implant-years. {early:# failure was|# failures were} early, found by month "
        "{month}; {late:# failure|# failures} late. A failure is dated at the visit that found it."
    ),
    "no_failure": "In {years} implant-years no implant failed: {rate} per 100 implant-years, a 95% bound.",
    "too_few": "{failures:# failure is|# failures are} too few to compare implants with each other.",
    "listed": (
        "{failures:# failure is|# failures are} too few to compare implants with each other and {failures:is|are} "
        "listed below."
    ),
    # Follow-up.
    "median": "Median follow-up was {months} months.",
    "due": (
        "At month {month}, {due:# implant was|# implants were} due, and of {known} of them the state was known, "
        "{share}; {lost:# implant was|# implants were} lost to follow-up."
    ),
    "not_yet_due": (
        "Not yet due {implants:was # implant|were # implants} of all that were placed: only implants whose "
        "follow-up could reach the month can be lost to it."
    ),
    "quartiles": "The quartiles of follow-up were {q1} and {q3} months.",
    "closed": "The data were closed in {month}.",
    "closed_implied": (
        "The plan does not say when the data were closed; the latest month that the visits imply is {month}."
    ),
    # The first page.
    "answer_survival": "Implant survival",
    "answer_failure": "What goes with failure",
    "page_one": (
        "Survival[[ of {implants:# implant|# implants} in {patients:# patient|# patients}]] was {shares:and}[[; "
        "{failures:# implant|# implants} failed]]."
    ),
    "page_one_none": (
        "Of {implants:# implant|# implants} in {patients:# patient|# patients} none failed: survival was {shares:and}."
    ),
    "page_one_short": (
        "Of {implants:# implant|# implants} in {patients:# patient|# patients}, {failures:# implant|# implants} "
        "failed; at the planned months too few were at risk to state survival."
    ),
    "page_one_short_none": (
        "Of {implants:# implant|# implants} in {patients:# patient|# patients} none failed; at the planned months too "
        "few were at risk to state survival."
    ),
    "under": ", under {share:percent}",
    "page_one_counts": (
        "{failures:# implant|# implants} failed[[, of {implants:# implant|# implants} in "
        "{patients:# patient|# patients}]]{under}."
    ),
    "sure": "{at_risk:# implant|# implants} at risk at month {month}; Kaplan-Meier, patients as clusters",
    "sure_bound": (
        "one-sided 95% bound, each patient counted once; {at_risk:# implant|# implants} at risk at month {month}"
    ),
    "associated": ("Failure was associated with {terms:and}. Hazard ratios, each adjusted for the others: {ratios}."),
    "not_associated": (
        "No association could be shown: each interval includes 1. Hazard ratios of failure, each adjusted for the "
        "others: {ratios}."
    ),
    "associated_alone": "Failure was associated with {term}: hazard ratio {numbers}.",
    "not_associated_alone": ("No association with {term} could be shown: hazard ratio {numbers}, which includes 1."),
    "term_of_level": "{column} ({levels})",
    "sure_hazard": (
        "penalised Cox model[[, {failures:# failure|# failures} in {implants:# implant|# implants}]]; "
        "associations, not "
        "effects"
    ),
    "sure_hazard_many": (
        "Cox model[[, {failures:# failure|# failures} in {implants:# implant|# implants}]]; associations, not effects"
    ),
    "page_one_too_few": "{failures:# implant|# implants} failed, too few to compare implants with each other.",
    "page_one_none_failed": "No implant failed, so there is nothing to compare.",
    "page_one_no_ratio": "{failures:# implant|# implants} failed; no hazard ratio could be estimated.",
    # Complications.
    "recorded_at_any": "{patients} of {all:# patient|# patients} at any visit, {share}",
    "share_at_any": "{share} of {all:# patient|# patients} at any visit",
    "recorded_early": "{patients} of {all:count} by month {month}, {share}",
    "share_early": "{share} of {all:count} by month {month}",
    "complications": "A complication was recorded in {any}, and in {early}.",
    "complications_any": "A complication was recorded in {any}.",
    "of": "{patients} of {all}",
    "commonest": "The most frequent named kind was {kind}: {patients} patients, {share}.",
    "commonest_alike": "The most frequent named kinds were {kinds:and}: each in {patients} patients, {share}.",
    "no_complication": "No complication was recorded in {patients:# patient|# patients} (95% interval 0% to {high}).",
    "never_occurred": "Not recorded in any patient: {kinds:and} (95% interval 0% to {high}).",
    "never_occurred_withheld": "Not recorded in any patient: {kinds:and}.",
    "complications_note": (
        "Patients with the complication at any visit, of those of whom a visit says whether there was one; 95% "
        "intervals exact. A patient with sites in two groups counts in both."
    ),
    # Alternative texts.
    "alt_all": "Kaplan-Meier survival of all implants: {shares:and}.",
    "alt_bands": "Kaplan-Meier survival by residual bone height. {bands}",
    "alt_band": "{band}: {shares:and}.",
    "alt_methods": "Implants in function by month and method. Quoted: {shares:and}.",
    "alt_hazards": "Scaled Schoenfeld residuals of the Cox model against time: {terms}.",
    "alt_term": "{term}, {failures:# failure|# failures}",
    # Notes below tables.
    "survival_note": "Kaplan-Meier, in function, with 95% intervals, patients as clusters.",
    "dash_note": "A dash: fewer than 20 implants, or a tenth of the row's own, were at risk.",
    "bound_note": "At least: no implant had failed by then, a 95% bound in which each patient counts once.",
    "at_risk_note": (
        "At risk just before the month / failed before it / censored before it. A failure found in the month itself is "
        "still at risk just before it, and is counted as found by that month in the text."
    ),
    "at_risk_alone_note": "At risk just before the month; who failed in the month is still among them.",
    "follow_up_note": (
        "Known: examined within 3 months of the month, or failed or died by then. Failed or died, lost to follow-up "
        "and never seen are of the implants due; the others missed that visit and were seen later."
    ),
    "methods_note": (
        "The first row is the one that the report quotes. Patients without a failure, failures with death competing "
        "and months in function ask something else of the same implants. Lost implants: those lost to follow-up at the "
        "month or at an earlier one of the plan; an implant not yet due is not lost."
    ),
    "restricted_note": (
        "Months in function within the months since placement, less those of the level compared with; 95% intervals "
        "with patients as clusters."
    ),
    "hazards_note": "The first row of each term is the one that the report quotes.",
    "times_note": (
        "Weibull accelerated failure time model, failures between two visits, {failures:# failure|# failures} in "
        "{implants:# implant|# implants} of {patients:# patient|# patients}; 95% intervals with patients as clusters. "
        "Above 1: implants last longer."
    ),
    "proportional_note": "Score test with the variance from patient sums. A small p: the ratio changes over time.",
    "landmark_note": (
        "In {implants:# implant|# implants} of {patients:# patient|# patients}, {failures:# failure|# failures} after "
        "month {month}."
    ),
    # The supplement.
    "other_methods": (
        "A failure happened at some time after the last visit in function, the implants of a patient who died can no "
        "longer fail, and implants lost to follow-up may have failed. What other ways to date and to count give:"
    ),
    "hazard_basis": (
        "The quoted hazard ratios rest on {failures:# failure|# failures} in {implants:# implant|# implants} of "
        "{patients:# patient|# patients}, each term adjusted for the others."
    ),
    "hazard_basis_alone": (
        "The quoted hazard ratio rests on {failures:# failure|# failures} in {implants:# implant|# implants} of "
        "{patients:# patient|# patients}; no other term is in the model."
    ),
    "hazard_left_out": (
        "Not in the model, as {failures:# failure allows|# failures allow} no more terms: {terms:and}."
    ),
    "time_ratios": (
        "With failures between two visits the same terms give ratios of the time to failure instead of hazard ratios:"
    ),
    "proportional": (
        "The data do not contradict hazard ratios that stay the same over time (all terms together, p {p:p}); "
        "with few failures such a test has little power."
    ),
    "not_proportional": (
        "The data give reason to doubt that the hazard ratios stay the same over time (all terms together, p {p:p})."
    ),
    "landmark": (
        "An implant must last long enough for its bone gain to be measured, so gain enters for implants still in "
        "function at the landmark, month {month:g}, and only failures after it count."
    ),
    # Methods.
    "lead_follow_up": "Follow-up",
    "method_follow_up": (
        "Of a surgery only the year is known: an implant is due at a month if it would have reached it by the closing "
        "of the data even if placed on 31 December (at a second operation: {staged:g} months later). Without a month "
        "in study.yaml, the data are taken to have been closed in the latest month that the visits imply. A visit "
        "within {window:g} months of a planned month is the visit of that month. Lost to follow-up before a month: "
        "due, neither failed nor died, last seen more than {window:g} months before it. Median follow-up: reverse "
        "Kaplan-Meier (Schemper and Smith 1996, doi:10.1016/0197-2456(96)00075-X), limits where the patient-clustered "
        "log-log band crosses one half. Failures per implant-year: ratio with patients as clusters, interval on the "
        "log. Early failure: found by month {early:g}; the month of loading is seldom recorded."
    ),
    "lead_survival": "Survival",
    "method_survival": (
        "Kaplan-Meier, in implants. A failure is dated at the visit that found it; a death censors at the visit that "
        "reports it, otherwise the last visit in function censors. The variance is the patient-clustered infinitesimal "
        "jackknife times m / (m - 1), m the patients with a failure by the month, the interval on the log-log scale; "
        "with m = 1 the exact interval of 1 among the patients followed until then, with m = 0 a one-sided bound. "
        "Survival is stated, and curves are drawn, while {fewest:# implant|# implants} and a tenth of all are at risk. "
        "Months of the plan: {months:and}. The life table is actuarial, by year (Cutler and Ederer 1958, "
        "doi:10.1016/0021-9681(58)90126-7).{left_out}"
    ),
    "lead_hazard": "Hazard of failure",
    "method_hazard": (
        "Cox model, Efron's treatment of ties. Below {many:# failure|# failures} the report quotes Firth's penalised "
        "model (Heinze and Schemper 2001, doi:10.1111/j.0006-341X.2001.00114.x) with the wider of the profile and the "
        "patient jackknife interval; from there on the patient-clustered sandwich (Lin and Wei 1989, "
        "doi:10.1080/01621459.1989.10478874) times m / (m - 1), never below the model's own variance, with t(m - 1), m "
        "the fewer of the patients with and without a failure. Below {ratio:# failure|# failures} there is no ratio, "
        "below {terms_from:g} one term, then one for each {each:# failure|# failures}: the plan's first terms. Terms: "
        "{terms}.{left_out}"
    ),
    "lead_between": "Failures between visits",
    "method_between": (
        "A failure lies after the last visit in function and not after the visit that found it. A Weibull accelerated "
        "failure time model takes it so, standard errors clustered by patient and never below the model's own. "
        "Turnbull's estimate (1976, doi:10.1111/j.2517-6161.1976.tb01597.x) needs no model; mass within an interval is "
        "spread evenly over it, intervals from resampled patients, on the log-log scale.{left_out}"
    ),
    "lead_competing": "Death, months in function, first failures",
    "method_competing": (
        "Failures with death competing: Aalen-Johansen, intervals from the patient-clustered infinitesimal jackknife. "
        "Months in function: area under Kaplan-Meier (Royston and Parmar 2013, doi:10.1186/1471-2288-13-152), interval "
        "on the log of the months lost. A patient without a failure is followed until one of the patient's implants "
        "first leaves follow-up."
    ),
    "lead_over_time": "Hazards over time",
    "method_over_time": (
        "Score test for a coefficient that changes with one less the survival before each failure, the score's "
        "variance from patient sums (Boos 1992, doi:10.1080/00031305.1992.10475921); from {from_failures:# failure|# "
        "failures} on."
    ),
    "lead_landmark": "Bone gain and failure",
    "method_landmark": (
        "The same model from month {month:g} on, for implants in function then, on the last bone gain measured by then "
        "(Anderson, Cain and Gelber 1983, doi:10.1200/JCO.1983.1.11.710).{left_out}"
    ),
}
