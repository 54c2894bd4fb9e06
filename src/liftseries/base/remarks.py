"""Remarks on an estimate: why there is none, what it rests on and how to read it, each by name, all words in one place.

In tables and files a remark stands in words (`note`, `problem`, the reason of a site left out), several with "; "
between them. Whoever asks what a remark is reads it back and asks for its name. The holes of a template:

    {n_failures:failure}   a count with its noun: `1 failure`, `12 failures`, `a withheld number of failures`
    {months:g}, {share:.1f}   a number
    {knots:numbers}        numbers with commas between, or `withheld`
    {terms:names}          `a, b and c`
    {why:remark}           another remark, at the end
    {column}               a text: a column, level, term, analysis or code, no words of ours
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from string import Formatter
from typing import Any

BETWEEN = "; "
WITHHELD = "withheld"
WITHHELD_COUNT = -1  # a count that is known and not said; a count is never negative
# What the series counts, and a release may have to withhold; other nouns count what the plan or the model chose.
OF_CASES = frozenset({"event", "failure", "implant", "measurement", "patient", "site"})
OF_CHOICE = frozenset({"coefficient", "group", "imputation", "imputed set", "parameter", "resample", "step", "term"})

TEMPLATES: dict[str, str] = {
    # ── why a site is left out ──────────────────────────────────────────────────────────────────────────────
    "label_unknown": "{column} unknown",
    "number_missing": "{column} missing",
    "no_implant_placed": "no implant placed",
    "no_visit": "no visit",
    "not_examined": "not examined at any visit",
    "not_seen_after_placement": "never seen in function after placement",
    "failed_by_landmark": "failed by the landmark",
    "not_followed_beyond_landmark": "not followed beyond the landmark",
    "no_visit_with_bone_height": "no visit with a bone height",
    "left_out_as_in": "as in {analysis}",
    # ── nothing to estimate from ────────────────────────────────────────────────────────────────────────────
    "column_absent": "there is no such column",
    "term_absent": "{column} is no term of the perforation model",
    "imputed_column_absent": "there is no column {column}",
    "known_nowhere": "{column} is known at no site, so it cannot be imputed",
    "nothing_missing": "nothing is missing among the terms, so the complete cases are all",
    "nothing_to_impute_for": "no site is there to impute for",
    "value_not_recorded": "no site has it recorded",
    "perforation_not_recorded": "no site has its perforation recorded",
    "no_complete_case": "no site has all terms recorded",
    "no_complete_case_with_perforation": "no site has its perforation and all terms recorded",
    "no_complete_case_followed": "no implant followed has all terms recorded",
    "no_complete_case_with_bone_height": "no visit has a bone height and all terms recorded",
    "bone_height_not_recorded": "no visit has a bone height",
    "depths_not_recorded": "no site has both an achieved and a planned last depth",
    "none_followed": "no implant was followed",
    "none_followed_beyond_landmark": "no implant was followed beyond the landmark at {months:g} months",
    "last_follow_up": "the last follow-up ends at {months:g} months",
    "last_visit_in_function": "the last visit in function was at {months:g} months",
    "level_absent": "no site used has {column} = {level}",
    "no_term_to_compare": "no term is left to compare",
    "no_term_to_predict_from": "no term is left to predict from",
    "contrast_needs_numbers": "{column} holds numbers, so its contrast needs two",
    "beyond_sites_used": "{column} {value:g} lies beyond the sites used, 98 in 100 of which lie in {low:g} to {high:g}",
    # ── nothing varies, or nothing of its own ───────────────────────────────────────────────────────────────
    "term_does_not_vary": "{term} does not vary among the sites used, so it has no effect to estimate",
    "term_follows": "{term} follows from the terms before it, so it has no effect of its own",
    "term_follows_when_imputed": "{term} follows from the other terms in {n_sets:imputed set} of {of:g}",
    "too_few_values_for_curve": "{column} takes too few different values for a curve",
    "one_centre": "all sites used are of one centre, so none can be left out",
    "no_variance_within_patients": "nothing varies within patients",
    "no_variance_without_a_patient": "without one of the patients nothing varies",
    "no_variance_of_levels": "no variance between patients or between sites is seen: no interval",
    "no_residual_variance": "the measurements do not scatter about the fit",
    "no_variance_within": "no scatter is left within patients or sites, so variances cannot be told apart",
    "patients_too_alike": "the patients are too alike to estimate its precision",
    "sites_too_unlike": "sites of a patient are less alike than any correlation makes them",
    "predictions_alike": "all predictions are alike",
    "zero_std_error": "the patients cancel out exactly: its standard error is zero, so it has no interval",
    # ── too few ─────────────────────────────────────────────────────────────────────────────────────────────
    "too_few_patients": "too few patients ({n_patients:patient}) for {n_coefficients:coefficient}",
    "too_few_patients_for_parameters": "too few patients ({n_patients:patient}) for {n_parameters:parameter}",
    "too_few_patients_for_clustered_test": "too few patients ({n_patients:patient}) for a clustered test",
    "too_few_patients_to_leave_out": "too few patients ({n_patients:patient}) to leave one out",
    "too_few_sites": "too few sites ({n_sites:site}) for {n_coefficients:coefficient}",
    "too_few_measurements": "too few measurements ({n_measurements:measurement}) for {n_coefficients:coefficient}",
    "one_patient": "all sites belong to one patient",
    "one_patient_of_sites": "all sites belong to one patient, so none can be left out",
    "one_patient_of_implants": "all implants belong to one patient, so none can be left out",
    "one_patient_followed": "all implants belong to one patient, so no variance is seen",
    "one_patient_of_failures": "all failures belong to one patient, so no jackknife can leave that patient out",
    "one_patient_of_outcome": "all perforated sites, or all others, are one patient's, so it has no interval",
    "one_patient_at_level": "all sites with {column} = {level} belong to one patient",
    "one_patient_determines": "one patient alone determines a coefficient, so no jackknife can leave that patient out",
    "one_patient_determines_gee": "one patient alone determines a coefficient, so no bias-reduced variance exists",
    "no_patient_with_two_sites": "no patient has two sites",
    "one_patient_with_two_sites": "only one patient has two sites",
    "no_site_with_two_visits": "no site has two visits",
    "too_few_imputed_sets": "fewer than two sets were imputed",
    "no_resample_judged": "no resample of patients could be judged",
    # ── no event, or nothing but events ─────────────────────────────────────────────────────────────────────
    "no_event": "no site had the event, so its log odds are not finite",
    "all_events": "every site had the event, so its log odds are not finite",
    "no_perforation": "no site used was perforated, so no odds are finite",
    "all_perforated": "every site used was perforated, so no odds are finite",
    "no_perforation_to_compare": "no site used was perforated, so nothing tells the terms apart",
    "all_perforated_none_to_compare": "every site used was perforated, so nothing tells the terms apart",
    "no_perforation_to_predict": "no site was perforated",
    "all_perforated_none_to_predict": "every site was perforated",
    "no_perforation_at_level": "no site with {column} = {level} was perforated, so {column} has no finite odds ratio",
    "all_perforated_at_level": "every site with {column} = {level} was perforated, so {column} has no finite odds "
    "ratio",
    "no_perforation_at_a_level": "a level of {column} has no perforation: no finite odds",
    "no_failure": "no implant used has failed, so no hazard can be compared",
    "no_failure_to_time": "no implant used has failed, so no time to failure can be modelled",
    "no_failure_by_then": "no implant has failed by then, and an interval cannot be drawn without a failure",
    "no_months_lost": "no implant has failed before then: none of the months is lost, and there is no interval",
    "no_failure_at_level": "no implant with {column} = {level} has failed, so {column} has no finite hazard ratio",
    "all_failed": "every implant still at risk has failed, so the estimate has no interval",
    # ── terms that tell the outcomes apart ──────────────────────────────────────────────────────────────────
    "term_separates_perforations": "{term} tells perforated sites from the others without overlap, so {term} has no "
    "finite odds ratio",
    "terms_separate_perforations": "{terms:names} together tell perforated sites from the others without overlap, so "
    "they have no finite odds ratio",
    "term_orders_failures": "whenever an implant failed, it stood at an extreme of {term} among those at risk, so "
    "{term} has no finite hazard ratio",
    "terms_order_failures": "whenever an implant failed, it stood at an extreme of {terms:names} together among those "
    "at risk, so they have no finite hazard ratio",
    "terms_separate_events": "the terms tell sites with and without the event apart, so log odds are not finite",
    "terms_separate_failures": "the terms tell failed and lasting implants apart, so log hazards are not finite",
    "terms_separate_times": "the terms tell failed and lasting implants apart, so no ratio of times is finite",
    "terms_alike_at_risk": "whenever an implant failed, those at risk did not differ enough to tell the terms apart",
    "terms_alike": "those compared do not differ enough to tell the terms apart",
    "predictions_separate": "the predictions tell perforated sites from the others, so calibration has no finite "
    "answer",
    "failures_at_first_visits": "failures were found at first visits only, as if none could happen later, so the "
    "shape is not finite",
    "failures_at_one_time": "all failures may have happened at one and the same time, so the shape is not finite",
    "failures_too_alike_in_time": "failures lie too few or too alike in time to test whether a hazard ratio changes",
    # ── the search for the estimate ─────────────────────────────────────────────────────────────────────────
    "gee_not_settled": "the estimating equations did not settle within {n_steps:step}",
    "partial_likelihood_not_settled": "the partial likelihood did not settle within {n_steps:step}",
    "likelihood_not_settled": "the likelihood did not settle within {n_steps:step}",
    "turnbull_not_settled": "Turnbull's estimate did not settle within {n_steps:step}",
    "no_maximum_partial": "the partial likelihood has no maximum that could be found",
    "no_maximum_penalised": "the penalised likelihood has no maximum that could be found",
    "no_maximum_restricted": "the restricted likelihood has no maximum that could be found",
    "information_singular": "the information matrix is singular",
    "log_odds_not_finite": "log odds are not finite",
    "lower_profile_limit_not_found": "the lower limit of the profile was not found",
    "upper_profile_limit_not_found": "the upper limit of the profile was not found",
    "likelihood_without_term_not_found": "the likelihood without the term was not found",
    "without_a_patient": "without one of the patients: {why:remark}",
    "imputed_sets_not_fitted": "no finite answer in {n_sets:imputed set} of {of:g}: {why:remark}",
    "imputed_sets_disagree": "imputed sets disagree so much that less than one degree of freedom is left",
    "other_centres_not_fitted": "the model cannot be fitted to the other centres alone",
    # ── of other rows ───────────────────────────────────────────────────────────────────────────────────────
    "at_level": "{column} = {level}: {why:remark}",
    "no_ratio": "no ratio to explain away: {why:remark}",
    "no_lower_limit": "survival as observed has no lower limit: {why:remark}",
    "none_lost": "no implant was lost to follow-up before then",
    "below_limit_without_failure": "survival lies below that limit though none of the lost implants failed",
    "above_limit_with_all_failed": "not even the failure of all lost implants would bring survival down so far",
    "too_few_tears_seen": "so few tears cannot have been seen: more sites were perforated than that allows",
    # ── where to read on ────────────────────────────────────────────────────────────────────────────────────
    "see": "see {analysis}",
    "read_instead": "read {analysis}, {method}",
    "bound_holds": "{method} is the bound that holds",
    "to_be_read_beside": "to be read beside {analysis}",
    "to_be_read_not_finite": "to be read instead of {analysis}, which has no finite answer",
    "to_be_read_few_failures": "to be read instead of {analysis}: {n_failures:failure} for "
    "{n_coefficients:coefficient}",
    # ── what an estimate rests on ───────────────────────────────────────────────────────────────────────────
    "few_events": "{n_events:event} for {n_terms:term}: too few to rely on",
    "bias_reduced": "bias-reduced (Mancl-DeRouen), t(K - p)",
    "t_less_coefficients": "t(K - p)",
    "t_less_one": "t(K - 1)",
    "working_independence": "working independence, as sites of a patient are less alike than an exchangeable "
    "correlation allows",
    "correlation_held": "correlation held below 1",
    "reference_absent": "{column} against {level}, as no complete case is {reference}",
    "reference": "compared with {column} = {reference}",
    "strange_unit": "beyond {limit:g} {scale} a unit: its unit is large against the values seen",
    "strange_intercept": "beyond {limit:g} {scale} a unit: what holds where every term is 0, far from the sites seen",
    "patients_left_out_in_groups": "whole patients left out in {n_groups:group}",
    "variance_between_patients_zero": "variance between patients zero, standard error of the limits on K - 1 values",
    "imputations": "{n_sets:imputation}",
    "missing_information": "missing information {percent:.1f} %",
    "resamples": "{n_resamples:resample} of patients",
    "resamples_penalised": "{n_resamples:resample} without finite odds and penalised",
    "resamples_not_judged": "{n_resamples:resample} not to be judged",
    "percentiles_shifted": "percentiles shifted by the optimism",
    "percentiles_tried_on_series": "percentiles of models tried on the series",
    "without_centre": "without the term centre",
    "knots": "restricted cubic spline, knots at {knots:numbers} mm",
    "from_spline": "from a restricted cubic spline",
    "from_model": "from the model of {analysis}",
    "landmark": "landmark at {months:g} months",
    "found_at_placement": "found at month 0 counts as by half a month",
    "failure_after_fallen_out": "{n_patients:patient} with a failure after that",
    "lost_before": "{n_lost:implant} lost to follow-up before month {months:g}",
    "taken_as_risk_ratio": "taken as a risk ratio",
    "events_common": "events common, so turned into a risk ratio",
    "per_unit": "per unit",
}


@dataclass(frozen=True)
class Remark:
    """A remark that was read back.

    Attributes
    ----------
    name : of its template; empty where its words are none of ours
    holes : hole -> count (int, `WITHHELD_COUNT` where withheld), number, names, `Remark` or text; of one without a name
        `text`
    """

    name: str
    holes: Mapping[str, Any]

    def __str__(self) -> str:
        """Its words."""
        return remark(self.name, **self.holes) if self.name else self.holes["text"]


def remark(name: str, /, **holes: Any) -> str:
    """A remark in words.

    Raises
    ------
    KeyError
        There is no such remark, or a hole stays empty.
    TypeError
        It has no such hole.
    """
    parts = list(_parts(name))
    if more := set(holes) - {hole for _, hole, _ in parts}:
        raise TypeError(f"remark {name} has no hole {', '.join(sorted(more))}")
    return "".join(words + (_filled(kind, holes[hole]) if hole else "") for words, hole, kind in parts)


def joined(*remarks: str) -> str:
    """Several remarks in one cell; empty ones say nothing."""
    return BETWEEN.join(filter(None, remarks))


def remarks_in(text: str | None) -> list[Remark]:
    """The remarks that a cell holds, in their order; words that no template reads are a remark without a name."""
    return list(_read(text)) if isinstance(text, str) and text else []


def names_in(text: str | None) -> set[str]:
    """The names of the remarks that a cell holds."""
    return {one.name for one in remarks_in(text)}


def counts_of_cases(name: str) -> set[str]:
    """The holes of a remark that count what a release may have to withhold."""
    return {hole for _, hole, kind in _parts(name) if kind in OF_CASES} if name else set()


def _parts(name: str) -> Iterator[tuple[str, str, str]]:
    """A template in pieces: words, the hole after them (or ""), its kind."""
    for words, hole, kind, _ in Formatter().parse(TEMPLATES[name]):
        yield words, hole or "", kind or ""


def _filled(kind: str, value: Any) -> str:
    if kind in OF_CASES or kind in OF_CHOICE:
        if value == WITHHELD_COUNT:
            return f"a {WITHHELD} number of {kind}s"
        return f"{int(value)} {kind}" + ("" if value == 1 else "s")
    if kind == "numbers":
        return ", ".join(f"{number:g}" for number in value) or WITHHELD
    if kind == "names":
        return " and ".join(filter(None, [", ".join(value[:-1]), value[-1]]))
    return str(value) if kind in ("", "remark") else f"{value:{kind}}"


@lru_cache(maxsize=4096)
def _read(text: str) -> tuple[Remark, ...]:
    """A level may hold a semicolon itself, so what is not read up to one is tried up to the next."""
    parts, found = text.split(BETWEEN), []
    while parts:
        lengths = range(1, len(parts) + 1)
        read = ((n, one) for n in lengths if (one := _read_one(BETWEEN.join(parts[:n]))))
        n, one = next(read, (1, Remark("", {"text": parts[0]})))
        found.append(one)
        parts = parts[n:]
    return tuple(found)


def _read_one(text: str) -> Remark | None:
    return next((one for name in TEMPLATES if (one := _read_as(name, text))), None)


def _read_as(name: str, text: str) -> Remark | None:
    """The text as a remark of that name; None where it is none."""
    if not (found := _pattern(name).fullmatch(text)):
        return None
    holes = {hole: _value(kind, found[hole]) for _, hole, kind in _parts(name) if hole}
    return None if None in holes.values() else Remark(name, holes)


@cache
def _pattern(name: str) -> re.Pattern:
    pattern, seen = "", set()
    for words, hole, kind in _parts(name):
        pattern += re.escape(words)
        if hole:
            pattern += f"(?P={hole})" if hole in seen else f"(?P<{hole}>{_form(kind)})"
            seen.add(hole)
    return re.compile(pattern)


def _form(kind: str) -> str:
    if kind in OF_CASES or kind in OF_CHOICE:
        return rf"\d+ {kind}s?|a {WITHHELD} number of {kind}s"
    number = r"-?(?:\d[\d.]*(?:e[+-]?\d+)?|inf|nan)"
    if kind == "numbers":
        return rf"{number}(?:, {number})*|{WITHHELD}"
    return ".+?" if kind in ("", "names", "remark") else number


def _value(kind: str, words: str) -> Any:
    if kind in OF_CASES or kind in OF_CHOICE:
        return int(words.split()[0]) if words[0].isdigit() else WITHHELD_COUNT
    if kind == "numbers":
        return () if words == WITHHELD else tuple(float(number) for number in words.split(", "))
    if kind == "names":
        *others, last = words.rsplit(" and ", 1)
        return (*(name for part in others for name in part.split(", ")), last)
    if kind == "remark":
        return _read_one(words)
    return words if kind == "" else float(words)
