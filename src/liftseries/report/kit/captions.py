"""What stands below each figure: what it shows, and how it is to be read."""

CAPTIONS = {
    "flow": "Patients and sites from what was read to what each question could use.",
    "residual_height": (
        "Residual bone height in the middle of the implant's footprint, by approach; dashed lines are the "
        "cuts of the bands."
    ),
    "planned_achieved": (
        "Achieved less planned last depth against the planned one; a larger mark stands for more sites. "
        "Solid line: bias; dashed lines: limits of agreement. Above 0 is deeper than planned."
    ),
    "deviations": "Sites with a drilling log that show each deviation from the drilling plan, by approach.",
    "ladder_case": (
        "The passes of single cases. Bars: drill passes, from the depth already reached to their own; a "
        "flat bar went no deeper. Circles: gauge passes. Above the crest, what was used: its length in mm "
        "less what the stop takes off. Dotted lines: planned rungs."
    ),
    "perforation_by_height": (
        "Share of sites whose membrane was perforated, with 95% intervals that take sites as clustered in patients."
    ),
    "perforation_odds": "Odds ratios of a perforation with 95% intervals, each term held against the others.",
    "risk_curves": (
        "Standardised risk of a perforation along residual bone height and planned lift, with patient-clustered 95% "
        "bands: what the mean risk would be if every site had that height or lift. Bars below: how many sites were "
        "near it."
    ),
    "survival_between_visits": (
        "The same survival with each failure dated at the visit that found it (steps) and known only to lie between "
        "two visits (line with its 95% band, patients resampled). The distance is what the dating is worth."
    ),
    "competing_risks": (
        "Implants failed, and implants whose patient died, of all placed and followed; 95% band of the failures, "
        "clustered by patient."
    ),
    "proportional_hazards": (
        "Each failure's scaled residual against time, with a smooth line; a hazard ratio that stays the same gives a "
        "level line at its estimate (dashed)."
    ),
    "survival": (
        "Kaplan-Meier survival of all implants with its patient-clustered 95% band. Below: implants at risk "
        "just before each month, and failed or censored before it. Where few are left at risk, one failure "
        "makes a large step."
    ),
    "survival_by_height": (
        "Kaplan-Meier survival by residual bone height, with patient-clustered 95% intervals at the months "
        "of the plan, set side by side for reading. Where few are left at risk, one failure makes a large "
        "step."
    ),
    "hazard_ratios": ("Hazard ratios of implant failure with 95% intervals, each term held against the others."),
    "gain_by_visit": (
        "Bone gain at the visits: every measurement, and the mean with its standard deviation at the visits "
        "nearest to placement, six months and each year."
    ),
    "gain_terms": "Differences in bone gain with 95% intervals, each term held against the others.",
}
_AT_MONTHS = "The curve is told just before each month numbered below it, and only where it may be: what lies between"
# Where a report that leaves the house shows less than the one that stays.
RELEASED_CAPTIONS = {
    "survival": (
        "Kaplan-Meier survival of all implants with its patient-clustered 95% band. "
        f"{_AT_MONTHS} two of them is drawn as one step. Below: implants at risk just before each month, and failed or "
        "censored before it; a dash is a number withheld."
    ),
    "survival_by_height": (
        "Kaplan-Meier survival by residual bone height, with patient-clustered 95% intervals at the plan's months, "
        f"set side by side for reading. {_AT_MONTHS} two of them is drawn as one step. A dash is a number withheld."
    ),
    "gain_by_visit": (
        "Bone gain: the mean with its standard deviation at the visits nearest to placement, six months and each year. "
        "Single measurements are not shown; a dash is a number withheld."
    ),
}
