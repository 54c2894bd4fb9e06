"""Groups compared: methods, supplement and checklist."""

SENTENCES: dict[str, str] = {
    "lead_population": "Who is compared, and with what",
    "population": "Sites whose group, outcome and terms are all known; of survival, implants seen at a visit. {terms} "
    "Complete cases: nothing is imputed.",
    "terms": "Terms: {terms:and}.",
    "terms_none": "No term was named.",
    "lead_weights": "Weights",
    "weights": "The propensity score is fitted by multinomial logistic regression of the group on the terms. Overlap "
    "weights (Li, Morgan and Zaslavsky 2018, doi:10.1080/01621459.2016.1260466) give most to sites that might have "
    "been of any group: w = (1 / e of the own group) / Σ (1 / e of each group); with two groups w = 1 - e. The "
    "answer is for those sites.",
    "lead_inverse": "Inverse probability weights",
    "inverse": "As the plan asks for them: w = 1 / e of the own group. The answer is for all sites, and rests on few "
    "of them where scores are near 0.",
    "lead_errors": "Standard errors",
    "errors": "A patient's influence on an estimate is its derivative in that patient's weight with the propensity and "
    "outcome models refitted; the variance is K / (K - 1) Σ influence², K the patients, t with K - 1 degrees of "
    "freedom below 50 patients. Shares have logit intervals, survival log-log ones, differences plain ones.",
    "lead_headline": "What is quoted, and what beside it",
    "headline": "Quoted is the weighted difference; where weights are refused (fewer than 5 patients a column of terms "
    "in the smallest group, or fewer than 10 effective patients in a group) the crude one, called unadjusted. A "
    "difference of shares needs 2 patients with and 2 without the event in each group and 10 events in both; none is "
    "given where a term separates the groups. G-computation, by a logistic or Cox model of group and terms with 5 "
    "events for each coefficient, answers for all sites: where it differs, an effect that varies between sites may be "
    "the reason, and not an error.",
    "lead_operators": "Operators and years",
    "operators": "Where nine in ten operators of five sites or more have nine in ten of their sites in one group, the "
    "larger of the patients' and the operators' variance is taken; with fewer than three operators in a group nothing "
    "is compared. Where operators lean to a group so far that a twofold difference in odds between them would make "
    "an interval hold less than 93% of the time, the row says so (of mm: a difference of a sixth of a standard "
    "deviation). Years: where two groups share a tenth of their years or less (the sum of the smaller "
    "shares by year) nothing is told of them here; results.csv keeps the numbers with their problem.",
    "lead_doubts": "Open, whatever the interval says",
    "doubts": "In drawn series of known truth, intervals held less than 93% of the time where a group had fewer than 4 "
    "patients with the event or without it, those of differences where it had fewer than 25 effective patients, those "
    "of bone gain also where fewer than six in ten of its patients were effective: such a contrast is called open.",
    "lead_survival": "Survival",
    "survival": "Kaplan-Meier curves, weighted; a failure is dated at the visit that found it. Survival is told at "
    "month {month:g}, which does not depend on what was found: 36 where the plan has it, else the middle one of its "
    "months.",
    "lead_gain": "Bone gain",
    "gain": "Gain at 12 months: each site's mean gain carried to month 12 along the slope of a mixed model with group, "
    "terms and months, then weighted; crude: the mixed model with group and months alone.",
    "lead_depth": "Depths",
    "depth": "Achieved less planned last depth, by linear mixed models with a patient's intercept. A stop at an open "
    "floor counts as an error here.",
    "lead_sample": "Effective patients and sites near the edge",
    "sample": "Effective patients are (Σ W)² / Σ W², W a patient's summed weights. A site is near the edge, without a "
    "like, where the score of any group is below 5%. Groups are called alike enough where no standardised difference "
    "is above 0.1 after weighting and at most a tenth of a group is near the edge: a convention of this report.",
    "lead_unseen": "E-values and patients needed",
    "unseen": "The E-value is RR + √(RR (RR - 1)) of the risk ratio, turned above 1 (VanderWeele and Ding 2017, "
    "doi:10.7326/M16-2607), told from 20 events. The difference that could have been found is 2.802 standard errors; "
    "patients needed are those of now times (that difference / the one that matters)².",
}
