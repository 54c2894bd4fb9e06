"""How numbers and names are written: no round number that is not one, every name in the clinic's words."""

import math

import pytest

from liftseries.base.remarks import joined, remark
from liftseries.geometry.deviations import DEVIATIONS as KNOWN_DEVIATIONS
from liftseries.report.kit import words as wording
from liftseries.report.kit.numbers import (
    count,
    counted,
    decimal,
    exponent,
    interval,
    listed,
    p_value,
    percent,
    ratio,
    share_of,
)
from liftseries.report.kit.words import Words, deviation_words, trace
from liftseries.report.languages.say import UNTOLD, say, words_that_leave


@pytest.mark.parametrize(
    ("written", "as_text"),
    [
        (decimal(-0.001), "0.00"),
        (decimal(-1.236), "−1.24"),
        (decimal(math.nan), ""),
        (percent(0.0725), "7.2%"),
        (percent(0.0002), "<0.1%"),
        (percent(0.9998), ">99.9%"),
        (percent(0), "0.0%"),
        (percent(1), "100.0%"),
        (p_value(0.0123), "0.012"),
        (p_value(0.0004), "<0.001"),
        (p_value(0.99999), ">0.999"),
        (ratio(0.003), "<0.01"),
        (ratio(1.234), "1.23"),
        (ratio(123.4), "123"),
        (ratio(exponent(1000)), ">9999"),
        (interval(1.234, 0.98, 1.55), "1.23 (0.98 to 1.55)"),
        (interval(1.234, math.nan, math.nan), "1.23"),
        (interval(math.nan, math.nan, math.nan), ""),
        (interval(-0.0059, -0.0068, -0.0050), "−0.0059 (−0.0068 to −0.0050)"),
        (interval(0.5, 0.25, 0.75, percent), "50.0% (25.0% to 75.0%)"),
        (share_of(12, 340), "12 of 340 (3.5%)"),
        (share_of(0, 0), "0 of 0"),
        (counted(1, "site"), "1 site"),
        (counted(2, "gauge pass", "gauge passes"), "2 gauge passes"),
        (count(None), ""),
        (listed(["a", "b", "c"]), "a, b and c"),
        (listed([]), ""),
    ],
)
def test_numbers_read_as_they_should(written, as_text):
    assert written == as_text


def test_a_narrow_interval_that_leaves_has_the_digits_that_it_was_rounded_to():
    assert interval(0.07, 0.05, 0.08) == "0.070 (0.050 to 0.080)"
    with words_that_leave():
        assert interval(0.07, 0.05, 0.08) == "0.07 (0.05 to 0.08)"


def test_a_sentence_goes_with_the_one_that_fills_it():
    any_time = say("survival.share_at_any", share="8%", all=-1)
    assert any_time == UNTOLD
    assert say("survival.complications_any", any=any_time) == UNTOLD


OWN = {"sites": {"flapless": {"type": "category", "levels": ["no", "yes"]}}}


@pytest.mark.parametrize(
    ("term", "told"),
    [
        ("rbh_mid_mm", "Residual bone height, per mm"),
        ("floor_slope_deg", "Slope of the sinus floor, per degree"),
        ("months", "Time since placement, per month"),
        ("approach[guided]", "Approach: guided against freehand"),
        ("smoking[current]", "Smoking: current against never"),
        ("graft[blood_concentrate]", "Graft: blood concentrate against none"),
        ("overdrilled[true]", "Drilled far beyond the floor: yes against no"),
        ("flapless[yes]", "Flapless: yes against no"),
        ("protocol[B]", "Protocol: B"),  # only the data know which label comes first
        ("(intercept)", "Intercept"),
    ],
)
def test_terms_are_told_with_unit_and_reference(term, told):
    assert Words(OWN).term(term) == told


def test_the_note_names_a_reference_that_stood_in():
    absent = remark("reference_absent", column="smoking", level="former", reference="never")
    note = joined(remark("t_less_one"), absent)
    assert Words().term("smoking[current]", note) == "Smoking: current against former"


@pytest.mark.parametrize(
    ("subset", "told"),
    [
        ("all", "All sites"),
        ("rbh_band=4 to <6", "Residual height 4 to <6 mm"),
        ("lift_band=≥5", "Planned lift ≥5 mm"),
        ("approach=guided", "Approach: guided"),
    ],
)
def test_subsets_are_told(subset, told):
    assert Words().subset(subset) == told


def test_reasons_are_told():
    assert Words().reason("floor_slope_deg missing") == "Slope of the sinus floor missing"
    assert Words().reason("no implant placed") == "no implant placed"


def test_every_deviation_has_words():
    assert set(wording.DEVIATIONS) == set(KNOWN_DEVIATIONS)
    assert deviation_words("first_too_deep stop_misread") == [
        "First depth too deep",
        "Stop's marking misread",
    ]


def test_trace_names_the_row():
    assert trace("survival.km", "all", "36") == "survival.km · all · 36"
    assert trace("perforation.rate", "all", "rate", "cluster") == "perforation.rate · all · rate · cluster"
