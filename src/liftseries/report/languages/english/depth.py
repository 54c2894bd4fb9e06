"""How deep was drilled."""

SENTENCES: dict[str, str] = {
    # Parts: a share with its interval, a site count with its share.
    "share": "{share:percent}, 95% interval {low:percent} to {high:percent}",
    "share_further": "{share:percent}, {low:percent} to {high:percent}",
    "share_at_most": "{share:percent}, at most {high:percent} with 95% confidence",
    "share_at_least": "{share:percent}, at least {low:percent} with 95% confidence",
    "n_of": "{n:count} of {sites:count} ({share})",
    "n_at": "{n:count} ({share})",
    # The plan.
    "lead_plan": "The plan",
    "plan": "The bone is drilled up a ladder of planned depths, its rungs: the first stays {margin} short of the sinus "
    "floor, each next one lies up to {step:g} mm deeper, the last reaches the floor. A pass is one use of a drill, or "
    "of a gauge that feels whether the floor is open; where it is open, the drilling ends.",
    "margin": "{guided:g} mm (guided) or {freehand:g} mm (freehand)",
    "margin_of_both": "{margin:g} mm",
    # How the drilling ended, and how many sites were drilled as planned.
    "lead_ended": "How the drilling ended",
    "ended": "Of {sites:# site|# sites} with a plan and a drilling log, the drilling ended {ends:and}.",
    "ended_at_plan": "as planned at {n}",
    "ended_opened_before": "with the floor open before the planned depth at {n}",
    "ended_deeper": "deeper than planned at {n}",
    "ended_short": "short of the planned depth with the floor closed at {n}",
    "n_withheld": "a number of sites that is withheld",
    "no_ladder": "No ladder could be planned at {sites:# further site|# further sites} with a log.",
    "end_unknown": "At {sites:# further site|# further sites} the log does not tell whether the floor was open.",
    "lead_kept": "Drilled as planned",
    "kept": "{n:count} of {sites:# site|# sites} ({share}) {n:was|were} drilled as planned throughout: none of the "
    "deviations that can be judged from the log occurred.",
    "no_log": "{sites:# site has|# sites have} no drilling log and cannot be judged.",
    "no_log_and_little": "{sites:# site has|# sites have} no drilling log, and {logs:# log tells|# logs tell} too "
    "little to be judged.",
    "little": "{logs:# log tells|# logs tell} too little to be judged.",
    "unjudged": "{sites:# site|# sites} cannot be judged.",
    # Deviations.
    "lead_deviations": "Deviations",
    "commonest": "The commonest, of the sites where each can be judged: {kinds:and}.",
    "kind": "{kind} at {n}",
    "no_deviation": "No deviation was found where one can be judged.",
    "open_kinds": "The logs do not tell enough to judge {kinds:and}.",
    "open_kind": "{kind} at {n:count} of {sites:# site|# sites}",
    "lead_approach": "Guided and freehand",
    "by_approach": "Drilled as planned were {levels:and}.",
    "level": "{n} {level} sites",
    "chosen": "The approach was chosen, not randomised, so that a difference is not its effect.",
    "entangled": "The approach was chosen, not randomised, and differs by protocol ({shares:and} of the sites were "
    "guided): a difference between guided and freehand may as well be one between protocols.",
    "guided_share": "{share:percent} in protocol {protocol}",
    "lead_perforated": "Perforations",
    "perforated": "The membrane was perforated at {as_planned} of the sites drilled as planned and at {deviated} of "
    "those with a deviation.",
    "perforated_mind": "Which sites deviated was not randomised, and a deviation may come before or after a "
    "perforation: the figures say what is associated with what, not what follows from what.",
    # How sure.
    "lead_sure": "How sure",
    "worked_out": "A depth is worked out from instrument, stop and platform as they were logged, not measured in the "
    "jaw; a deviation that nobody logged stays unseen.",
    "read": "Where a depth was read on a gauge with the floor closed[[, at {sites:# site|# sites}]], the gauge "
    "depth less "
    "the osteotomy depth that was worked out came to {bias} mm on average, limits of agreement {low:decimal} to "
    "{high:decimal} mm; positive is read deeper.",
    # The first page.
    "answer_lead": "Drilling",
    "answer_ended": "Of {sites:# site|# sites} the drilling ended {ends:and}.",
    "answer_kept": "Drilled as planned throughout: {n:count} of {sites:# site|# sites} ({share}).",
    "answer_sure": "depths are worked out from instrument, stop and platform, not measured.",
    "answer_sure_unjudged": "depths are worked out from instrument, stop and platform, not measured[[; "
    "{sites:# site|# sites} could not be judged]].",
    # The supplement.
    "sign": "In all of this chapter a positive difference is a greater depth: deeper than planned, or read deeper.",
    "agreement": "The last depth drilled less the planned one came to {bias} mm on average[[ at {sites:# site|# "
    "sites}]], "
    "limits of agreement {low:decimal} to {high:decimal} mm.",
    "obedience": "The bias says little of how well the plan was kept: of {short:# site|# sites} that ended short of "
    "the planned depth, {opened:count} had the floor open, where the plan ends the drilling.",
    "per_mm_short": "Shortfall per mm planned: with each further mm of planned depth the difference changed by "
    "{change} mm: the deeper the plan, the larger the shortfall.",
    "per_mm_deeper": "Excess per mm planned: with each further mm of planned depth the difference changed by {change} "
    "mm: the deeper the plan, the larger the excess.",
    "per_mm_open": "Shortfall per mm planned: with each further mm of planned depth the difference changed by {change} "
    "mm, which is compatible with either direction.",
    "meanings": "What each deviation means, and what must be recorded for it to be judged:",
    "meaning": "{kind}. {means} Judged from: {judged_from}.",
    # Worked cases.
    "lead_cases": "Worked cases",
    "cases": "{cases:One site|Two sites}, pass by pass. The ladder is the site's list of planned depths, a rung one of "
    "them, a pass one use of a drill or gauge. A pass reaches the instrument's length less what the stop takes off, "
    "plus the platform depth (0 freehand): here {examples:and}.",
    "case_example": "{length:g} {less} {stop:g} {plus} {platform:g} = {depth:g} mm at pass {pass_no} of case {case}",
    "note_deviations": "Where a deviation cannot occur in one approach, its share of all sites counts them as without "
    "it; read it by approach.",
    "note_cases": "Depth reached = length less what the stop takes off, plus platform depth (planned platform below "
    "the crest, negative above it; 0 freehand).",
    # Methods.
    "methods_lead_floor": "Floor and lift",
    "methods_floor": "Residual bone height is the middle of its lowest and highest value over the footprint; the slope "
    "is the angle between them over the implant's diameter; the planned lift is platform depth plus implant length "
    "less residual bone height; bone gain is bone height less residual bone height.",
    "methods_lead_depths": "Depths",
    "methods_depths": "A pass, one use of a drill or gauge, reaches the instrument's length less what the stop takes "
    "off, plus the planned platform depth (guided; 0 freehand), below the crest. A stop marked with a length takes off "
    "its marking; one marked with a depth takes off the length that it is marked for less its marking.",
    "methods_lead_ladder": "Ladder",
    "methods_ladder": "The planned depths of a site are its ladder, each a rung. The first is the deepest reachable "
    "depth that stays {margin} short of the lowest floor; each next one the deepest within {step:g} mm of the last; "
    "the last the first that reaches the highest floor. Depths that differ by up to {tolerance:g} mm count as equal, "
    "and a speed above {speed:g} rpm as high.",
    "methods_lead_deviations": "Deviations",
    "methods_deviations": "A probing is a gauge pass, or a drill pass after which the floor was felt closed or open. A "
    "deviation is judged only where the log tells what it takes. A site was drilled as planned where no deviation that "
    "can be judged is true. Shares are of the sites that can be judged, patients as clusters, intervals on the logit "
    "with Student's t.",
    "methods_lead_agreement": "Agreement of depths",
    "methods_agreement": "Last depth drilled less planned one, and depth read on a gauge less osteotomy depth while "
    "the floor was closed: mean over the sites, limits of agreement 1.96 standard deviations on either side (Bland and "
    "Altman 1999, doi:10.1177/096228029900800204), patients as clusters, intervals of the limits by leaving out one "
    "patient after the other. Beside them restricted maximum likelihood with a patient intercept; limits are bias ± "
    "1.96 √(variance between + within patients), intervals from those of bias and total SD (Zou 2013, "
    "doi:10.1177/0962280211402548). The shortfall per mm planned is the slope of the difference on the planned depth, "
    "which is known without error.",
    "methods_left_out": "Left out: {reasons:and}.",
    "methods_left_out_part": "{sites:# site|# sites} ({reason})",
    # Figures in words, and what they rest on.
    "covers_log": "{sites:# site|# sites} with a drilling log of {patients:# patient|# patients}",
    "covers_sites": "{sites:# site|# sites}",
    "covers_patients": " of {patients:# patient|# patients}",
    "covers_cases": "{cases:# case|# cases}, {passes:# pass|# passes}",
    "covers_readings": "{readings:# reading|# readings} at {sites:# site|# sites}",
    "alt_adherence": "Sites drilled as planned and sites with each deviation, of those that can be judged. {rows}.",
    "alt_row": "{label}: {cells}",
    "alt_planned_achieved": "Last depth drilled less planned one against the planned depth for {sites:# site|# sites}: "
    "{deeper:count} deeper than planned, {shallower:count} less deep, {alike:count} as planned; {lines}.",
    "alt_depth_read": "Gauge depth less osteotomy depth, against the osteotomy depth, for {readings:# reading|# "
    "readings}: {deeper:count} read deeper, {shallower:count} less deep, {alike:count} alike; {lines}.",
    "alt_line": "{line} {value:decimal} mm",
    "alt_no_lines": "no limits of agreement could be estimated",
    "alt_case": "Case {case} ({label}, {approach}): sinus floor between {low:g} and {high:g} mm below the crest{rungs}"
    "{drills}; {gauges:# gauge pass|# gauge passes}; {opened}. {deviations}",
    "alt_rungs": "; rungs {rungs:and} mm",
    "alt_drills": "; drill passes reached {depths:and} mm",
    "alt_opened": "first found open at pass {pass_no}",
    "alt_opened_at": "first found open at pass {pass_no}, {depth:g} mm",
    "alt_never_open": "never found open",
    "case_deviations": "Deviations: {kinds}.",
    "case_no_deviation": "No deviation.",
}
