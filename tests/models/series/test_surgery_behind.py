"""Who stands behind what was recorded of surgery, by hand."""

from __future__ import annotations

from fourteen_sites import NAN, assert_said, estimate, population, row, share

from liftseries.models.series.recorded_behind import graft, lift_method, one_or_several, surgery

LIFTED = {"f": "fluid", "b": "balloon", "u": "unknown"}  # a letter a site; "." is an empty cell
METHODS = [LIFTED.get(letter) for letter in "ffbbf.ufbfbbbb"]


def test_a_lift_method_is_a_share_of_those_recorded_and_a_graft_of_those_of_the_subset():
    """It is not known of f and g, and the graft not of l."""
    of = population(lift_method=METHODS)
    assert_said(lift_method, [(row("series.lift_method", "fluid"), share("abcdehijklmn", "abehj"))], of)
    rows = [
        (row("series.graft", "grafted"), share("abcdefghijkmn", "bdfhjn")),
        (row("series.graft", "grafted", subset="lift_method=fluid"), share("abehj", "bhj")),
    ]
    assert_said(graft, rows, of)


def test_a_measure_rests_on_the_sites_measured_and_a_quartile_on_those_on_either_side():
    """1, 2 and 3 ml of fluid at a, b and e, none used at c; b has no dome."""
    of = population(fluid_ml=[1, 2, 0, NAN, 3] + [NAN] * 9, dome_ml=[1, 0, 1, 1, 2] + [1] * 9)
    rows = [
        (row("series.surgery", "fluid_ml n"), estimate("abe", gives_away=["abe"])),
        (row("series.surgery", "fluid_ml mean"), estimate("abe")),
        (row("series.surgery", "fluid_ml q1"), estimate("abe", parts=["a", "be"])),
        (row("series.surgery", "fluid_ml median"), estimate("abe", parts=["ab", "be"])),
        (row("series.surgery", "fluid_ml q3"), estimate("abe", parts=["ab", "e"])),
        (row("series.surgery", "fluid_ml/dome_ml mean"), estimate("ae")),
        (row("series.surgery", "graft_ml median"), estimate("")),
    ]
    assert_said(surgery, rows, of)


def test_patients_with_several_sites_are_told_from_those_with_one():
    """Of a and b, c and d, m and n."""
    rows = [
        (row("series.one_or_several", "tears several"), share("abcdm", "acm")),
        (row("series.one_or_several", "tears one"), share("efghikl", "efi")),
        (row("series.one_or_several", "failures several"), share("abcdmn", "acm")),
        (row("series.one_or_several", "failures one"), share("efghil", "egi")),
    ]
    assert_said(one_or_several, rows)
