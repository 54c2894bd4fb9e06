"""The remarks of comparison and audit, by name; part of the one list in `remark_templates`."""

from __future__ import annotations

OF_PURPOSES: dict[str, str] = {
    # ── groups compared ─────────────────────────────────────────────────────────────────────────────────────
    "no_group": "{column} is known at no site, so there are no groups",
    "one_group": "fewer than two levels of {column} have a site here, so there is nothing to compare",
    "no_variance_to_scale": "neither group varies, though their means differ",
    "reference_nowhere": "no site has {column} = {reference}, so there is nothing to compare with",
    "terms_separate_groups": "{column} = {level} and {reference} do not overlap in {terms:names}, so no sites are "
    "alike",
    "no_operator_of_both": "group and operator cannot be told apart: nine in ten operators work in one group, and "
    "{column} = {level} has fewer than three of them",
    "too_few_events_to_compare": "{n_events:event} in both groups: too few to compare",
    "one_patient_with_event": "fewer than two patients with {column} = {level} have the event",
    "one_patient_without_event": "fewer than two patients with {column} = {level} are without the event",
    "too_few_events_for_model": "{n_events:event}: too few for {n_coefficients:coefficient}",
    "too_few_patients_to_weigh": "{n_patients:patient} in the smallest group: too few for {n_coefficients:coefficient}",
    "too_few_effective_patients": "weights leave fewer than ten effective patients with {column} = {level}",
    "none_in_group_with_event": "no site of the group has the event",
    "all_in_group_with_event": "every site of the group has the event",
    "few_without_event": "{n_sites:site} without the event: too few to quote",
    "not_adjusted_for": "not adjusted for {term}: {why:remark}",
    "unadjusted": "unadjusted, for weights are refused: {why:remark}",
    "operators_uneven": "operators are shared out unevenly over the groups: if they differ twofold in odds, the "
    "interval is too short",
    "operators_uneven_measured": "operators are shared out unevenly over the groups: if they differ by a sixth of a "
    "standard deviation, the interval is too short",
    "few_patients_with_event": "{n_patients:patient} with {column} = {level} and the event: so few that the interval "
    "is too short",
    "few_patients_without_event": "{n_patients:patient} with {column} = {level} without the event: so few that the "
    "interval is too short",
    "few_effective_patients": "fewer than 25 effective patients with {column} = {level}: so few that the interval is "
    "too short",
    "small_effective_share": "weights leave fewer than six in ten of the patients with {column} = {level} effective: "
    "so few that the interval is too short",
    "years_apart": "{column} = {level} and {reference} were operated on in different years, so group and year cannot "
    "be told apart",
    "between_operators": "variance between operators, the larger, t(J - 2): {n_operators:operator}",
    "between_patients": "variance between patients, the larger, t(J - 2): {n_operators:operator}",
    "of_row": "of {analysis}, {method}",
    "no_contrast": "no contrast to take it from",
    # ── audit: units and what they are compared with ────────────────────────────────────────────────────────
    "outside_period": "operated on outside the period",
    "no_site_in_period": "no site in the period",
    "below_gate_audit": "{n_events:event} in the series: too few to judge its units",
    "no_standard": "no standard is set",
    "too_few_units": "too few units to tell how they differ",
    "too_few_units_to_predict": "too few units to say between which rates a further one lies",
    "no_other_unit": "there is no other unit to take the expected risk from",
    "others_do_not_differ": "the other units had no tear, or nothing else, so they tell of no risk",
    "no_unit_judged": "no unit is judged",
    "no_count_so_unlikely": "no count of so few sites is unlikely enough",
    "needs_too_many_sites": "no number of sites that anybody operates on would do",
    "unit_without_rate": "fewer than 10 sites: no rate",
    "unit_not_cleared": "can be flagged, not cleared",
    "unit_judged": "can be judged",
    "simulated": "{n_draws:draw} simulated, Monte Carlo error {error:g}",
    "kept_limit": "kept from an earlier year",
    "no_limit": "even without a signal worth the name the sum often goes so high: there is no limit",
    "not_by_operator": "over time only operators are watched",
    "no_case_number": "no site has its case number recorded",
    "no_signal": "no signal",
    "run_length_capped": "half the courses or more have no signal in {n_cases:g} cases",
    "no_case_number_here": "case number not recorded",
    "too_few_operators_reach": "fewer than 3 operators have cases, so no course is told",
    "before_first_case": "before the first case that is recorded",
    "against_operators_mean": "set against the operator's own mean, as operators are {n_operators:operator}",
    "operators_own_intercepts": "an intercept for each of {n_operators:operator}",
    "clusters_are_operators": "operators as clusters, t(J - 2)",
    "clusters_are_patients": "patients as clusters",
    "event_patients_few": "fewer than two patients with a tear in the year, or in all years before",
    "one_year": "all sites are of one year",
    "first_year_seen": "there is no year before",
    "shifted_to_share": "intercept moved until the mean risk is the observed share",
    "found_shortly_after": "{n_failures:failure} found from month 12 to 15",
    "indicator_worse": "worse than the standard",
    "indicator_better": "better than the standard",
    "indicator_compatible": "compatible with the standard",
    "indicator_not_judged": "too few to be judged",
    "no_number_expected": "nobody said how many cases were expected",
    "cells_counted": "{n_cells:g} cells",
    "no_row_counted": "none can be counted",
    "published_per_sinus": "published counts are per sinus, as one systematic review tabulates them; the series counts "
    "sites",
    "too_few_published": "too few published series to pool",
}
