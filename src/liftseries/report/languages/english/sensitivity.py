"""What could change the answers, and how alike the sites of a patient are."""

SENTENCES: dict[str, str] = {
    # unmeasured causes
    "evalue": (
        "The E-value is the risk ratio with both exposure and outcome that an unmeasured cause would need to explain "
        "an association away. A small one means that little is needed; a large one is no proof of robustness."
    ),
    "evalue_note": (
        "1: the interval includes no difference already. Odds and hazard ratios are taken as risk ratios, of a "
        "measurement per unit."
    ),
    # overlooked perforations
    "detection": (
        "A perforation that nobody saw counts as none; where the membrane can be watched, as in cadavers, more are "
        "found than clinics report. If only a part had been seen, the shares would be those of the table."
    ),
    "detection_note": "Share perforated, with its interval, over the share of perforations seen, which is assumed.",
    "contrast": (
        "The part that was seen may have differed between the groups; the table has the odds ratio for each pair of "
        "parts."
    ),
    "contrast_note": (
        "Odds ratios with 95% intervals, patients as clusters, adjusted for no other term; 100% in both: as seen."
    ),
    # loss to follow-up
    "lost": (
        "Had all {lost:# implant|# implants} lost to follow-up by month {month} stayed in function, survival at "
        "{month} months would be {best:percent}; had all failed right after their last visit, {worst:percent}. An "
        "implant not yet due is not lost."
    ),
    "lost_note": (
        "Tipping point: share of the lost implants that must have failed for survival to fall to the lower limit of "
        "its interval."
    ),
    # a second opinion
    "libraries": (
        "The same series was given to {libraries:and}, general statistical software, to refit "
        "{questions:# question|# questions} of the report."
    ),
    "equal": "Their estimates agree with the report's to six digits.",
    "apart": "The largest relative difference of an estimate is {share}.",
    "errors_equal": "Their standard errors agree likewise.",
    "errors_apart": "Standard errors differ by up to {share}; known reasons: {reasons}.",
    "errors_unexplained": "Standard errors differ by up to {share}.",
    "opinion_note": (
        "The largest relative difference over the numbers compared; of Wilson's interval, that of its length."
    ),
    "see_file": "Each difference stands in the file of the table {table}.",
    # how alike sites are
    "icc": (
        "The more alike the sites of a patient, the less each further site adds. The intraclass correlation is the "
        "share of the variance that two sites of a patient, or two visits of a site, have in common, before any "
        "term is adjusted for."
    ),
    "icc_of_one_way": "From one-way variance components.",
    "icc_of_visits": "Bone gain: from all visits and their months, by a mixed model.",
    "two_sites": "two sites of a patient",
    "two_visits": "two visits of a site",
    "effects": (
        "A design effect is the variance of a clustered estimate over that of independent sites; those of the "
        "estimates quoted of all sites range from {low:decimal} to {high:decimal}."
    ),
    "alarm": "A design effect below {limit} is an alarm, not a discovery; it occurs here: {which:and}.",
    "alarm_change": "Of a change over time it is expected, as each site is compared with itself.",
    "alarm_few": "Where few patients stand behind an estimate, its interval may be too narrow.",
    "effect_of": "{what} ({effect:decimal})",
    # methods
    "method_alike_lead": "How alike sites are",
    "method_alike": (
        "Intraclass correlations from one-way variance components, limits from F that are exact for groups of any size "
        "(Wald 1940; in equal groups Shrout and Fleiss 1979, doi:10.1037/0033-2909.86.2.420); of the perforation by "
        "leaving patients out."
    ),
    "method_alike_gain": "Of the bone gain: from all visits and their months by restricted maximum likelihood.",
    "method_change_lead": "What could change the answers",
    "method_evalue": "E-values: VanderWeele and Ding 2017, doi:10.7326/M16-2607.",
    "method_detection": (
        "Overlooked perforations: the share over the part seen (Rogan and Gladen 1978, "
        "doi:10.1093/oxfordjournals.aje.a112510), none seen that was not there."
    ),
    "method_lost": (
        "Implants lost to follow-up at a month or an earlier one of the plan: all lasting, all failing right after "
        "their last visit, and the share at which survival falls to the lower limit of its interval; an implant not "
        "yet due stays as observed."
    ),
}
