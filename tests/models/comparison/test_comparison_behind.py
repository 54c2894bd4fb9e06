"""Who stands behind what is told of groups, by hand.

Group A is a b e g i k and n, B is c d f h j and l; of m neither group nor height is known. Not known are the
perforation of j and n, the follow-up of j and k, and a gain of f j and k.
"""

from __future__ import annotations

from fourteen_sites import PLAN, assert_said, estimate, patients, population, row

from liftseries.models.comparison import behind


def of_one(group: str, events: str, crude: bool = False) -> dict:
    """A share of a group, of which some have the event and some do not."""
    rest = "".join(site for site in group if site not in events)
    away = {"gives_away": [group, events, rest, patients(group)]} if crude else {}
    return estimate(group, events, (group,), parts=[group, events, rest]) | away


def of_both(b: str, b_events: str, a: str, a_events: str, crude: bool = False) -> dict:
    """A contrast of B with A."""
    parts = []
    for group, events in ((b, b_events), (a, a_events)):
        parts += [group, events, "".join(site for site in group if site not in events)]
    away = {"gives_away": [*(part for part in parts if part), patients(b), patients(a)]} if crude else {}
    both, events = ("".join(sorted(one)) for one in (b + a, b_events + a_events))
    return estimate(both, events, (b, a), parts=parts) | away


def measured(b: str, a: str) -> dict:
    return estimate("".join(sorted(b + a)), rests_on=(b, a))


SHARES = [
    (row("comparison.perforation", "risk[A]", "crude"), of_one("abegik", "aei", crude=True)),
    (row("comparison.perforation", "risk[B]", "overlap"), of_one("cdfhl", "cf")),
    (row("comparison.perforation", "risk_difference[B]", "crude"), of_both("cdfhl", "cf", "abegik", "aei", crude=True)),
    (row("comparison.perforation", "log_odds[B]", "g_computation"), of_both("cdfhl", "cf", "abegik", "aei")),
]


def test_shares_and_their_contrasts():
    assert_said(behind.perforation, SHARES)


def test_survival_at_a_month_that_both_groups_reach():
    """B fails at c alone; at month 50 h of B is followed still and nobody of A, at 24 b and e and g of A."""
    b, a, failed = "cdfhl", "abegin", "aegi"
    nobody = estimate("", "", ("", ""), parts=[""] * 6)
    none_away = {"gives_away": [patients(""), patients("")]}
    rows = [
        (row("comparison.survival", "survival[A] at 24", "crude"), of_one(a, failed, crude=True)),
        (row("comparison.survival", "rmst[B] at 24", "overlap"), of_one(b, "c")),
        (row("comparison.survival", "difference[B] at 24", "crude"), of_both(b, "c", a, failed, crude=True)),
        (row("comparison.survival", "log_hazard[B]", "overlap"), of_both(b, "c", a, failed)),
        (row("comparison.survival", "difference[B] at 50", "overlap"), nobody),
        (row("comparison.survival", "difference[B] at 50", "crude"), nobody | none_away),
        (row("comparison.survival", "survival[B] at 60.0", "overlap"), estimate("", "", ("",), parts=[""] * 3)),
        (row("comparison.survival", "difference[B] at 40", "overlap"), of_both(b, "c", a, failed)),
    ]
    assert_said(behind.survival, rows)


def test_what_was_measured_rests_on_each_group():
    gains = [(row("comparison.gain", "difference[B]", "crude"), measured("cdhl", "abegin"))]
    assert_said(behind.gain, gains)
    errors = [(row("comparison.depth_error", "difference[B]", "overlap"), measured("cdfhjl", "agikn"))]
    assert_said(behind.depth_error, errors)


def test_how_the_drilling_went():
    """Deeper: c g and m; it is not known of f and l. As planned, of what can be judged: not b f h k; d e n cannot."""
    assert_said(behind.deeper, [(row("comparison.deeper", "risk[B]", "crude"), of_one("cdhj", "c", crude=True))])
    rows = [(row("comparison.adherence", "difference[B]", "overlap"), of_both("cfhjl", "cjl", "abgik", "agi"))]
    assert_said(behind.adherence_of_group, rows)


def test_one_population_tells_the_outcomes_apart():
    of = population()
    assert_said(behind.perforation, SHARES[:1], of)
    assert_said(behind.survival, [(row("comparison.survival", "survival[A] at 24"), of_one("abegin", "aegi"))], of)
    assert_said(behind.gain, [(row("comparison.gain", "difference[B]"), measured("cdhl", "abegin"))], of)
    assert_said(behind.deeper, [(row("comparison.deeper", "risk[B]"), of_one("cdhj", "c"))], of)
    assert_said(behind.adherence_of_group, [(row("comparison.adherence", "risk[A]"), of_one("abgik", "agi"))], of)
    assert_said(behind.depth_error, [(row("comparison.depth_error", "difference[B]"), measured("cdfhjl", "agikn"))], of)


def test_nobody_stands_behind_rows_by_another_column_of_a_subset_or_of_no_group():
    outcomes = (
        behind.perforation,
        behind.survival,
        behind.gain,
        behind.deeper,
        behind.adherence_of_group,
        behind.depth_error,
    )
    asked = row("comparison.any", "risk[A]", "crude")
    other = PLAN["comparison"]
    for outcome in outcomes:
        for rows in (row("any", "risk[A]", "crude", "as_drilled=plan"), row("any", "no group", "crude")):
            assert_said(outcome, [(rows, None)])
        for plan in ({}, {"comparison": None}, {"comparison": other | {"groups": "smoking", "reference": "never"}}):
            assert_said(outcome, [(asked, None)], population(plan))
        without = population()
        without.cases.drop(columns="protocol", inplace=True)
        assert_said(outcome, [(asked, None)], without)
        assert behind.of_group(population(), asked) is None


def test_terms_are_those_that_are_adjusted_for():
    """Smoking is not known of l and n either."""
    of = population({"comparison": PLAN["comparison"] | {"adjust_for": ["rbh_mid_mm", "smoking"]}})
    assert_said(behind.perforation, [(row("any", "risk[B]", "overlap"), of_one("cdfh", "cf"))], of)
