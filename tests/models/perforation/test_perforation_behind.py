"""Who stands behind what is told of perforations, by hand.

Whether the membrane tore is known of all sites but j and n: a, c, e, f, i and m tore. Without the heights (m lacks
its own) and approaches (k) ten sites are left, of which five tore: they carry one term, the height.
"""

from fourteen_sites import PLAN, assert_said, estimate, model, patients, population, row, share

from liftseries.models.perforation.behind import (
    along_exposure,
    band,
    difference,
    imputed,
    nonlinearity,
    rate,
    validation,
)
from liftseries.models.perforation.behind import model as model_of_terms

KNOWN, TORN = "abcdefghiklm", "acefim"
BOTH_TERMS = model("abcdefghil", "acefi", 13)
HEIGHT_ALONE = model("abcdefghikl", "acefi", 12)
BAND_ALONE = HEIGHT_ALONE | {"gives_away": ["afk", "bcdeghil", "af", "cei"]}  # each band
LIFT_ALONE = model("abcefghiklm", TORN, 12)  # d has none


def test_a_rate_gives_its_counts_away_and_is_a_share_where_it_is_the_observed_one():
    away = {"gives_away": [KNOWN, TORN]}
    by_sites = {"gives_away": ["abegil", "aei"], "share": True}
    rows = [
        (row("perforation.rate", "rate", "patients"), share(KNOWN, TORN)),
        (row("perforation.rate", "rate", "wilson", "approach=guided"), estimate("abegil", "aei", **by_sites)),
        (row("perforation.rate", "rate", "cluster"), estimate(KNOWN, TORN, **away)),
        (
            row("sensitivity.detection", "1/0.8", "patients"),
            estimate(KNOWN, TORN, by_interval=[patients(KNOWN)], **away),
        ),
        (row("sensitivity.detection", "1/0.8", "wilson"), estimate(KNOWN, TORN, **away)),
    ]
    assert_said(rate, rows)


def test_a_model_stands_on_its_own_terms_and_what_is_quoted_on_those_that_the_events_carry():
    """A level's row rests on its own sites and on the others, with a tear and without."""
    guided = model("abcdefghil", "acefi", 13) | {"parts": ["acefi", "bdghl", "aei", "cf", "cf", "bgl", "dh", "dh"]}
    of_all = row("perforation.gee", "rbh_mid_mm", "exchangeable")
    rows = [
        (of_all, BOTH_TERMS),
        (row("perforation.firth", "approach[guided]", "profile"), guided),
        (row("perforation.firth", "rbh_mid_mm", "first_terms"), HEIGHT_ALONE),
        (row("perforation.firth", "rbh_mid_mm"), HEIGHT_ALONE),  # E-values
        (row("perforation.firth", "approach[guided]"), guided),
        (row("perforation.gee", "rbh_mid_mm"), BOTH_TERMS),
        (of_all, BOTH_TERMS),
        (row("perforation.gee", "(intercept)", "exchangeable"), BOTH_TERMS | {"rests_on": ["abcdefghil", ""]}),
    ]
    assert_said(model_of_terms, rows)


def test_an_e_value_of_a_level_is_that_of_the_quoted_row():
    """With the approach first, which one coefficient tells; m is not left out for its height then."""
    of = population(PLAN | {"perforation_terms": ["approach", "rbh_mid_mm"]})
    first = model("abcdefghilm", TORN, 12) | {
        "parts": [TORN, "bdghl", "aei", "cfm", "cfm", "bgl", "dh", "dh"],
        "gives_away": ["abegil", "cdfhm", "aei", "cfm"],
    }
    assert_said(model_of_terms, [(row("perforation.firth", "approach[guided]"), first)], of)


def test_validation_is_of_a_subset():
    rows = [
        (row("perforation.validation", "auc", "apparent"), BOTH_TERMS),
        (row("perforation.validation", "auc", "leave_one_centre_out", "centre=east"), model("abcdgi", "aci", 13)),
    ]
    assert_said(validation, rows)


def test_risks_stand_on_the_quoted_terms_or_on_those_with_the_measure_first():
    """With the planned lift, which d lacks, in front of the plan's terms."""
    with_lift = model("abcefghil", "acefi", 14)
    rows = [
        (row("perforation.risk", "5", "standardised"), BOTH_TERMS),
        (row("perforation.risk", "5", "firth"), HEIGHT_ALONE),
        (row("perforation.risk", "5", "gee"), HEIGHT_ALONE),
        (row("perforation.risk_lift", "3", "standardised"), with_lift),
        (row("perforation.risk_lift", "3", "firth"), LIFT_ALONE),
    ]
    assert_said(along_exposure, rows)
    bends = [
        (row("perforation.nonlinearity", "protrusion_mm", "spline"), with_lift),
        (row("perforation.nonlinearity", "rbh_mid_mm", "spline"), BOTH_TERMS),
    ]
    assert_said(nonlinearity, bends)
    contrasts = [
        (row("perforation.risk_difference", "rbh_mid_mm: 7 to 4", "firth"), HEIGHT_ALONE),
        (row("perforation.risk_difference", "rbh_mid_mm: 7 to 4", "standardised"), BOTH_TERMS),
        (row("perforation.risk_difference", "protrusion_mm: 2 to 5", "gee"), LIFT_ALONE),
        (row("perforation.risk_difference", "protrusion_mm: 2 to 5", "standardised"), with_lift),
        (row("perforation.risk_difference", "approach: freehand to guided", "firth"), BOTH_TERMS),
        (row("perforation.risk_difference", "approach: freehand to guided", "standardised"), BOTH_TERMS),
    ]
    assert_said(difference, contrasts)


def test_bands_take_the_place_of_the_height():
    """m has no band either; two bands are one coefficient, as the height is."""
    rows = [
        (row("perforation.risk_band", "<4", "standardised"), BOTH_TERMS),
        (row("perforation.risk_band", "<4", "firth"), BAND_ALONE),
        (row("perforation.risk_band", "<4", "gee"), BAND_ALONE),
    ]
    assert_said(band, rows)


def test_imputed_models_stand_on_all_whose_perforation_is_known():
    assert_said(imputed, [(row("perforation.imputed", "rbh_mid_mm", "pooled"), model(KNOWN, TORN, 13))])


def test_one_population_answers_each_by_its_own_terms():
    of = population()
    assert_said(band, [(row("perforation.risk_band", "<4", "firth"), BAND_ALONE)], of)
    assert_said(along_exposure, [(row("perforation.risk", "5", "firth"), HEIGHT_ALONE)], of)
    assert_said(along_exposure, [(row("perforation.risk_lift", "3", "firth"), LIFT_ALONE)], of)
    assert_said(model_of_terms, [(row("perforation.firth", "rbh_mid_mm", "first_terms"), HEIGHT_ALONE)], of)
