"""Groups compared: the chapters and the checklist of the supplement."""

SENTENCES: dict[str, str] = {
    "balance_read": "A standardised difference of 0.1 or less is commonly taken as small. Overlap weights make the "
    "means of the terms equal by construction with two groups; with more, nearly so.",
    "agrees": "G-computation lies nowhere more than a standard error from the difference quoted.",
    "disagreeing": "G-computation lies more than a standard error from the difference quoted; it answers for all "
    "sites, overlap weights for those that might have been of any group, so the difference may vary between sites:",
    "disagrees": "{what}, {group}: {one} by g-computation, {other} as quoted",
    "left_out_read": "A site counts once, under its first reason. Months in function are of the implants of survival, "
    "depths whichever way of those of the depth error.",
    "item_numbers": "Numbers of patients and sites, and who was left out and why",
    "item_further": "Other analyses: cases drilled as planned, other methods",
    "target": "After the items of TARGET, for observational studies that emulate a target trial (Cashin and others "
    "2025), from memory and in words of our own: neither wording nor order was compared with the printed list.",
    "target_emulates": "That a target trial is emulated, from which data, with the key results",
    "target_background": "Background: what is known, and why a trial is emulated (the author's to write)",
    "target_question": "Causal question and aim",
    "target_source": "Data sources: who collected them, where and when",
    "target_eligible": "Eligibility: of the target trial, and as emulated",
    "target_strategies": "Treatment strategies: the groups compared",
    "target_assignment": "Assignment: how a random one is emulated, with which terms",
    "target_follow_up": "Time zero and follow-up: when they start and end",
    "target_outcomes": "Outcomes: definition and time",
    "target_contrast": "Causal contrasts: by what was chosen, and as drilled",
    "target_assumptions": "Assumptions by which groups can be compared, and how they were judged",
    "target_analysis": "Analysis: models, weights, intervals, clustering",
    "target_selection": "Numbers assessed, eligible and analysed",
    "target_baseline": "Baseline characteristics by group, before and after weighting",
    "target_followed": "Length of follow-up and losses by group",
    "target_missing": "Missing data by group, and how they were handled",
    "target_effects": "Outcomes and effect estimates with their intervals",
    "target_further": "Additional and sensitivity analyses",
    "target_limits": "Limits: how the emulation departs from the target trial",
    "target_interpretation": "Interpretation and how far it holds elsewhere (the author's to write)",
    "target_registered": "Registration and protocol",
    "target_rest": "Ethics, data and code, funding, interests (the author's to write)",
}
