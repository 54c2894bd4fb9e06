"""The files beside an audit: cases to review, single-case records, own results, minutes, drafted actions."""

SENTENCES: dict[str, str] = {
    # whom a file is for
    "for_committee": "For the committee",
    "for_committee_and_lead": "For the committee and the unit lead",
    "for_person": "For the person named below alone",
    "for_lead": "For the lead of the unit named below",
    "for_lay": "Lay and board",
    # cases to review
    "cases_listed": "{n_sites:# case is|# cases are} listed for review, the most serious first; the table has "
    "{n_shown:# case|# cases}, and all stand in cases_to_review.xlsx, with columns for reviewer and conclusion.",
    "cases_none": "No case of the period meets a reason for review.",
    "case_rule": "A case is listed for any of these reasons, the most serious first:",
    "case_reason": "{title} ({n_sites:# case|# cases})",
    "cases_note": "Order: most serious reason, then number of reasons, then depth beyond the floor. Beyond the floor: "
    "deepest drill pass less the highest residual bone height. Months: from placement to the visit that found the "
    "loss.",
    "case_lost": "lost, month {months:decimal1}",
    "case_torn": "torn",
    "case_torn_size": "torn, {size:decimal1} mm",
    # how a flag moved with corrections
    "filed_no_corrections": "No cell of the study was corrected.",
    "filed_no_cell": "No cell of this unit was corrected.",
    "filed_cells": "{n:# cell|# cells} of this unit {n:was|were} corrected.",
    "filed_moved": "As first filed: {before}. As corrected: {after}.",
    "filed_lies": "{events:# tear|# tears} at {sites:# site|# sites}, probability of as many or more {p}, flag {flag}",
    "filed_not_judged": "{events:# tear|# tears} at {sites:# site|# sites}, not judged",
    "filed_gone": "{n:# site|# sites} cannot be read as filed, and {n:is|are} not counted there.",
    "filed_added": "{n:# site|# sites} filed under this unit {n:was|were} left out or renamed, or {n:belongs|belong} "
    "to another.",
    # single-case record
    "record_title": "Single-case record: {site}",
    "record_listed": "Number {place} of {n_sites:# case|# cases} listed for review: {reasons:and}.",
    "record_not_listed": "Not among the cases listed for review.",
    "record_no_list": "No list of cases to review was made in this run.",
    "no_ladder": "No planned ladder: {why}",
    "no_log": "No drilling log of this site.",
    "more_passes": "{n_passes:# further pass is|# further passes are} left out here; all stand in derived/steps.csv.",
    "no_deviation": "No deviation among those that can be judged.",
    "deviations": "Deviations: {names:and}.",
    "not_judged": "Cannot be judged: {names:and}.",
    "volume": "{volume:.2f} ml",
    "volume_of_cap": "{volume:.2f} ml, {times:decimal1} times the cap",
    "no_visits": "No visit is recorded.",
    "more_visits": "{n_visits:# earlier visit is|# earlier visits are} left out here.",
    "drawing_alt": "Depth of each drill pass, with the planned depths and the residual bone height",
    # own results
    "own_title": "Own results: {unit}",
    "own_period": "Surgery {years}; data closed {closed}.",
    "every_year": "in all years",
    "in_years": "{first} to {last}",
    "in_year": "in {year}",
    "closed_unknown": "as the tables imply",
    "own_rate": "The membrane tore at {n_events:count} of the {n_sites:# site|# sites} where this is known: of 100 "
    "sites {rate:.0f} (95% interval {low:.0f} to {high:.0f}).",
    "own_count": "The membrane tore at {n_events:count} of the {n_sites:# site|# sites} where this is known: too few "
    "for a rate.",
    "own_none": "In the period no site is counted.",
    "own_expected": "Of as many sites about {expected:decimal1} would be expected {at}.",
    "own_at_group": "at the rate of all units together",
    "own_at_standard": "at the committee's standard",
    "own_flag_alarm": "Flag: many more tears than chance would explain (alarm): a reason to look, and no judgement.",
    "own_flag_alert": "Flag: more tears than chance would often explain (alert): a reason to look, and no judgement.",
    "own_flag_none": "No flag: the count lies within the limits.",
    "own_flag_low_alert": "Flag: fewer tears than chance would often explain (alert). Are all of them written down?",
    "own_flag_low_alarm": "Flag: many fewer tears than chance would explain (alarm). Are all of them written down?",
    "own_not_cleared": "That clears nobody: to find a doubling of the odds takes about {needed:# site|# sites}.",
    "own_cleared": "The sites are enough to find a doubling of the odds in four cases of five.",
    "own_alone": "Fewer than five others are in this audit, so nothing here is set against them.",
    "own_alone_standard": "Fewer than five others are in this audit, so the figures are set against the standard "
    "alone.",
    "own_years": "The last two years",
    "own_indicators": "Indicators",
    "own_spread": "{low} to {high}",
    "own_indicators_note": "All units: yours is among them. Others: the lowest and the highest of the other units with "
    "cases enough, without names, where they are five or more. Too few to judge: the interval is left out.",
    "own_strength": "A strength: {title}, {own} against {other}{chance}",
    "own_change": "To change: {title}, {own} against {other}{chance}",
    "own_by_group": "{value} for all units together",
    "own_by_standard": "a standard of {value}",
    "own_chance": "; chance may explain the difference.",
    "own_beyond_chance": ".",
    "own_no_strength": "No figure stands out as a strength.",
    "own_no_change": "No figure lies on the worse side.",
    "own_nothing_to_set": "There is nothing to set the figures against, so no strength and no change is named.",
    "own_too_few": "The sites are too few to judge any figure against the others or a standard, so no strength and "
    "no change is named.",
    # lay half page
    "lay_title": "Sinus floor lifts {years}: what the audit found",
    "lay_sites": "We looked at {n_sites:# lift|# lifts} in {n_patients:# patient|# patients}.",
    "lay_tear": "The lining of the sinus tore in {share} of 100 lifts.",
    "lay_lost": "Within a year {share} of 100 implants were lost.",
    "lay_harm": "Within a year {share} of 100 patients had an infection, or an implant that slipped out of place.",
    "lay_few": "fewer than {few:g}",
    "lay_about": "about {n:.0f}",
    "lay_fewer_than_one": "fewer than one",
    "lay_received": "Of 100 cases that should have been reported, {share} were.",
    "lay_received_all": "Every case that should have been reported was.",
    "lay_unknown": "In {n_sites:# further lift|# further lifts} nobody wrote down whether the lining tore.",
    "lay_actions": "Of what was decided after earlier audits: {done:# step|# steps} done, {open:# step|# steps} still "
    "open, {dropped:# step|# steps} given up.",
    "lay_no_names": "This page names nobody. It describes care as a whole and says nothing of any one patient's "
    "treatment.",
    # minutes
    "minutes_title": "Minutes of the audit committee",
    "minutes_no_flag": "No unit was flagged. Decisions on other matters:",
    "minutes_flag": "{unit}: {n_events:# tear|# tears} at {n_sites:# site|# sites}; expected {expected:decimal1}",
    "minutes_stands": "Stands in all views: {yes}",
    "minutes_reply": "Reply of {date}: “{statement}”",
    "minutes_no_reply": "No reply.",
    "minutes_stages": "What follows a flag, in this order:",
    "minutes_flag_means": "A flag means: {words}",
    # actions drafted
    "action_flag": "tears: {n_events:# tear|# tears} at {n_sites:# site|# sites} in this audit; within the limits in "
    "the next",
    "action_signal": "tears over time: more than expected for a while; no further signal in the next audit",
    "action_indicator": "{title}: {value} in this audit, standard {standard}; at the standard in the next",
    "action_received": "cases received: {value} of those expected in this audit; all in the next",
}  # fmt: skip
