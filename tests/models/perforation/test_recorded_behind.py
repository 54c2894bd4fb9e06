"""Who stands behind what was recorded of tears, by hand: a c e f i and m are torn; of j and n it is not known."""

from __future__ import annotations

from dataclasses import replace

from fourteen_sites import NAN, SITES, assert_said, estimate, patients, population, row, share

from liftseries.models.perforation.recorded_behind import by_test, learning, management, sequel, size, stage

TORN = "acefim"


def told(**of_sites: str) -> list:
    """A word at each of some sites: `told(drilling="ai")`."""
    return [next((word for word, sites in of_sites.items() if site in sites), None) for site in SITES]


def nothing(sites: str) -> dict:
    return estimate(sites, "", gives_away=[""], by_interval=[patients(sites)])


def test_a_stage_and_a_management_are_shares_of_all_tears():
    """Of e and f neither is told; b is not torn."""
    of = population(
        perforation_stage=told(drilling="abi", lifting="cm", unknown="e"),
        perforation_management=told(membrane="acm", suture="i"),
    )
    stages = {"drilling": share(TORN, "ai"), "unknown": share(TORN, "ef"), "grafting": nothing(TORN)}
    assert_said(stage, [(row("perforation.stage", term), expected) for term, expected in stages.items()], of)
    assert_said(management, [(row("perforation.management", "membrane"), share(TORN, "acm"))], of)


def test_where_no_tear_has_a_stage_nobody_is_counted():
    of = population(perforation_stage=told(drilling="b"))
    assert_said(stage, [(row("perforation.stage", "drilling"), nothing(""))], of)
    assert_said(management, [(row("perforation.management", "membrane"), nothing(""))], of)


def test_a_test_is_told_of_the_sites_looked_at_by_it():
    of = population(perforation_test=told(valsalva="abj", none="cdn"))
    rows = [
        (row("perforation.test", "valsalva"), share("ab", "a")),
        (row("perforation.test", "none"), share("cd", "c")),
    ]
    assert_said(by_test, rows, of)


def test_the_largest_tear_rests_on_nobody():
    """2, 4 and 6 mm at a, c and e; what stands at b, which is not torn, does not count."""
    of = population(perforation_mm=[2, 9, 4, NAN, 6] + [NAN] * 9)
    rows = [
        (row("perforation.size", "n"), estimate("ace", gives_away=["ace"])),
        (row("perforation.size", "median"), estimate("ace", parts=["ac", "ce"])),
        (row("perforation.size", "max"), estimate("ace", rests_on=("",), parts=[""])),
    ]
    assert_said(size, rows, of)


def test_what_followed_a_tear_or_none():
    """k alone got no implant. Nobody was asked of complications at j and l; d had an infection, c a sinusitis."""
    of = population()
    answers = {"d": "infection", "c": "sinusitis", "j": "unknown", "l": None}
    asked = [answers.get(site, "none") for site in of.visits["site_id"]]
    of = replace(of, visits=of.visits.assign(complication=asked))
    torn, whole = {"subset": "perforation=yes"}, {"subset": "perforation=no"}
    rows = [
        (row("perforation.sequel", "no_implant", **torn), nothing(TORN)),
        (row("perforation.sequel", "no_implant", **whole), share("bdghkl", "k")),
        (row("perforation.sequel", "failure", **torn), share(TORN, "aceim")),
        (row("perforation.sequel", "failure", **whole), share("bdghl", "g")),
        (row("perforation.sequel", "months", **whole), estimate("bdghl")),
        (row("perforation.sequel", "infection", **whole), share("bdgh", "d")),
        (row("perforation.sequel", "sinusitis", **torn), share(TORN, "c")),
    ]
    assert_said(sequel, rows, of)


def test_a_band_of_case_numbers_has_both_its_ends():
    of = population(operator_case_no=[1, 10, 11, 20, 21, 40, 41, 5, NAN, 3, 50, 10, 11, 2])
    bands = {"1 to 10": share("abhl", "a"), "11 to 20": share("cdm", "cm"), "21 to 40": share("ef", "ef")}
    bands[">40"] = nothing("gk")
    rows = [(row("perforation.learning", "rate", subset=f"operator_case_no={band}"), of) for band, of in bands.items()]
    assert_said(learning, rows, of)
