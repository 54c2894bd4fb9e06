"""Who stands behind what is told of follow-up and of complications, by hand.

All implants are followed but j (never examined) and k (none placed). The data were closed with 2025: of a and b,
operated on in 2024, month 12 is not due yet, and of m the year is not known.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from fourteen_sites import assert_said, estimate, patients, population, row, said, share

from liftseries.models.survival.follow_up_behind import (
    by_month,
    completeness,
    complications,
    failures,
    median,
    rate,
    years,
)

FOLLOWED, FAILED, DUE = "abcdefghilmn", "acegim", "cdefghijln"


def test_follow_up_is_complete_where_it_is_known_how_an_implant_fared():
    """Seen within three months of 12, or failed before: c d g h i. Of 36: d, the failed c e i, and f, whose patient
    had died."""
    rows = [
        (row("followup.completeness", "12"), estimate(DUE, "cdghi", ("cdghi",), gives_away=[DUE, "cdghi"])),
        (row("followup.completeness", "36"), estimate(DUE, "cdefi", ("cdefi",), gives_away=[DUE, "cdefi"])),
    ]
    assert_said(completeness, rows)


def test_the_table_tells_of_every_implant_placed_what_became_of_it():
    """Lost by month 36: l, last seen at 18, and n, at placement; j was never seen."""
    at = next(pd.DataFrame({"months": [36]}).itertuples())
    counts = {"n_placed": "abcdefghijlmn", "n_not_yet_due": "abm", "n_due": DUE, "n_seen": "cdefi"}
    counts |= {"n_ended": "cefi", "n_lost": "ln", "n_never_seen": "j"}
    assert said(by_month(population(), at)) == {"counts": counts, "seen_in": ("followup",)}


def test_a_quartile_of_follow_up_lies_between_those_that_ended_in_function_and_all_followed():
    """They ended at 0 (n), 18 (l), 24 (b), 36 (d) and 60 months (h)."""
    ended = "bdhln"
    rows = [
        (row("followup.median", "median"), estimate(FOLLOWED, ended, parts=["bln", "bdefgh"])),
        (row("followup.median", "q1"), estimate(FOLLOWED, ended, parts=["ln", "bdefghl"])),
        (row("followup.median", "q3"), estimate(FOLLOWED, ended, parts=["bdln", "dgh"])),
    ]
    assert_said(median, rows)
    of = population()
    of = replace(of, implants=of.implants.assign(failed=True, died=np.arange(12) < 3))
    assert_said(median, [(row("followup.median", "q1"), estimate(FOLLOWED, "", parts=["", ""]))], of)


def test_a_rate_gives_the_failures_away_and_years_nothing():
    assert_said(rate, [(row("followup.rate", "rate"), estimate(FOLLOWED, FAILED, gives_away=[FAILED]))])
    assert_said(years, [(row("followup.implant_years", "years"), estimate(FOLLOWED, FAILED))])


def test_failures_are_early_up_to_a_year():
    """m at 3, a at 6, c and i at 12; e at 24, g at 40."""
    of_patients = estimate(FOLLOWED, patients(FAILED), gives_away=[patients(FAILED)])
    rows = [
        (row("followup.failures", "all"), estimate(FOLLOWED, FAILED, gives_away=[FAILED])),
        (row("followup.failures", "early"), estimate(FOLLOWED, "acim", gives_away=["acim"])),
        (row("followup.failures", "late"), estimate(FOLLOWED, "eg", gives_away=["eg"])),
        (row("followup.failures", "patients"), of_patients),
    ]
    assert_said(failures, rows)


def test_a_complication_is_told_of_the_sites_asked_at_a_visit():
    """Infection at d by month 12, sinusitis there later and at c, bleeding at f at 30; nobody was asked at j and l."""
    of = population()
    answers = {("d", 12): "infection", ("d", 36): "sinusitis", ("c", 12): "sinusitis", ("f", 30): "bleeding"}
    visits = zip(of.visits["site_id"], of.visits["months"], strict=True)
    asked = [None if visit[0] in "jl" else answers.get(visit, "none") for visit in visits]
    of = replace(of, visits=of.visits.assign(complication=asked))
    ever, in_a_year = "abcdefghimn", "abcdegimn"  # f and h came later
    counted = {"gives_away": [patients(ever), patients("cd")], "share": True}
    none = estimate("abegin", "", gives_away=[""], by_interval=[patients("abegin")])
    rows = [
        (row("complications.rate", "infection", "sites"), share(ever, "d")),
        (row("complications.rate", "any", "sites"), share(ever, "cdf")),
        (row("complications.rate", "sinusitis", "patients"), estimate(ever, patients("cd"), **counted)),
        (row("complications.first_year", "sinusitis", "sites"), share(in_a_year, "c")),
        (row("complications.first_year", "any", "sites"), share(in_a_year, "cd")),
        (row("complications.rate", "any", "sites", "approach=guided"), none),
        (row("complications.rate", "any", "sites", "approach=freehand"), share("cdfhm", "cdf")),
    ]
    assert_said(complications, rows, of)
    nobody = estimate("", "", gives_away=[""], by_interval=[patients("")])
    assert_said(complications, [(row("complications.rate", "any", "sites"), nobody)])
