"""Fourteen made-up sites, a to n: few enough to say by hand who stands behind a row, and how that is written down.

Each test asks a population of its own, so that every set is worked out by the test that looks at it.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from invented import LEVELS

from liftseries.disclosure.declared import Behind, Counted
from liftseries.geometry.deviations import DEVIATIONS
from liftseries.models.shared.behind import Row
from liftseries.models.shared.follow_up import follow_up
from liftseries.models.shared.population import Population

SITES = "abcdefghijklmn"
NAN = np.nan
WORDS = {  # column -> a letter a site, "." where nothing is known; and what the letters stand for
    "perforation": ("yNyNyyNNyuNNy.", {"y": "yes", "N": "no", "u": "unknown"}),
    "approach": ("ggffgfgfgf.gfg", {"g": "guided", "f": "freehand"}),
    "rbh_band": ("<4444<4444<4.4", {"<": "<4", "4": "≥4"}),
    "smoking": ("nnccfncfncf...", {"n": "never", "f": "former", "c": "current"}),
    "protocol": ("AABBABABABAB.A", {"A": "A", "B": "B"}),
    "centre": ("eeeewwewewew..", {"e": "east", "w": "west"}),
    "graft": ("nxnxnxnxnxn.nx", {"n": "none", "x": "xenograft"}),
    "placement": ("ssssssssssNsss", {"s": "same_day", "N": "none"}),
    "healing": ("stssts.tsssstt", {"s": "submerged", "t": "transmucosal"}),
    "ended": ("podps.dpopp.dp", {"p": "at_plan", "o": "opened_before", "d": "deeper", "s": "short"}),
    "as_drilled": ("pNpp.NpNppNpp.", {"p": "plan", "N": "not_plan"}),
}
NUMBERS = {
    "rbh_mid_mm": [3, 4, 5, 6, 7, 3, 4, 5, 6, 7, 3, 4, NAN, 5],
    "protrusion_mm": [2, 3, 4, NAN, 2, 3, 4, 2, 3, 4, 2, 3, 4, 2],
    "achieved_last_mm": [4, 4, 5, 6, NAN, 4, 4, 5, 6, 7, 4, 4, 5, 5],
    "planned_last_mm": [4, NAN, 4, 6, 6, 4, 3, 5, 6, 7, 4, 4, 4, 5],
    "torque_ncm": pd.array([10, 20, 30, 40, 50, *[None] * 5, 25, *[None] * 3], dtype="Int64"),
    "isq": [NAN] * 14,
    "surgery_year": [2024, 2024, 2018, 2018, 2019, 2019, 2018, 2018, 2019, 2019, 2019, 2019, NAN, 2019],
    "bone_quality": [1, 2] * 7,
}
FLAGS = {  # of the deviations; "." is not judged, e and n have no log
    "first_too_deep": "NyN..yNyNNyNN.",
    "speed_high": "Ny.N.yNNNNNNN.",
}
VISITS = [  # site, month, status, bone height and marginal bone in mm
    ("a", 0, "functioning", 5, NAN),
    ("a", 6, "failed", NAN, NAN),
    ("b", 0, "functioning", 6, NAN),
    ("b", 12, "functioning", 7, 1.0),
    ("b", 24, "functioning", 7, NAN),
    ("c", 0, "functioning", 8, NAN),
    ("c", 12, "failed", NAN, NAN),
    ("d", 12, "functioning", 9, 2.5),
    ("d", 36, "functioning", NAN, NAN),
    ("e", 0, "functioning", 8.5, NAN),
    ("e", 24, "failed", NAN, NAN),
    ("f", 30, "patient_died", NAN, NAN),
    ("g", 0, "functioning", 7.5, NAN),
    ("g", 10, "functioning", 7, 2.0),
    ("g", 40, "failed", NAN, NAN),
    ("h", 14, "functioning", 8, 3.0),
    ("h", 60, "functioning", NAN, NAN),
    ("i", 0, "functioning", 9, NAN),
    ("i", 12, "failed", NAN, NAN),
    ("j", 12, "not_examined", NAN, 2.2),
    ("l", 0, "functioning", 6, NAN),
    ("l", 18, "functioning", 6.5, 0.5),
    ("m", 3, "failed", NAN, NAN),
    ("n", 0, "functioning", 8.2, NAN),
]
STEPS = [  # site, step, finding, advance, reading: a and g alone have a gauge reading before the floor was open
    ("a", 1, "closed", NAN, 4.1),
    ("b", 1, "closed", 1.0, 4.0),
    ("c", 1, "open", 1.0, NAN),
    ("c", 2, "closed", NAN, 4.0),
    ("d", 1, "closed", NAN, NAN),
    ("g", 1, "closed", NAN, 3.9),
]
PLAN = {
    "perforation_terms": ["rbh_mid_mm", "approach"],
    "survival_terms": ["rbh_mid_mm", "smoking"],
    "gain_terms": ["protrusion_mm", "graft", "months"],
    "survival_months": [12, 36],
    "landmark_months": 1.0,
    "comparison": {"groups": "protocol", "reference": "A", "adjust_for": ["rbh_mid_mm"], "weights": ["overlap"]},
    "audit": {"by": "centre", "period": [2019]},
}


def series() -> pd.DataFrame:
    """One row a site; p, q and z are the patients with two."""
    columns = {"site_id": list(SITES), "patient_id": list("ppqqrstuvwxyzz")}
    for name, (letters, words) in WORDS.items():
        values = [words.get(letter) for letter in letters]
        listed = list(words.values()) if name == "rbh_band" else LEVELS.get(name)
        columns[name] = pd.Categorical(values, listed) if listed else values
    for name in DEVIATIONS:
        flags = FLAGS.get(name, "NNNN.NNNNNNNN.")
        columns[name] = pd.array([{"y": True, "N": False}.get(flag) for flag in flags], dtype="boolean")
    return pd.DataFrame(columns | NUMBERS)


def population(plan: dict | None = None, **columns) -> Population:
    """The series, with another plan or other columns where they are given; the data were closed with 2025."""
    cases = series().assign(**columns)
    visits = pd.DataFrame(VISITS, columns=["site_id", "months", "status", "bone_height_mm", "marginal_bone_mm"])
    steps = pd.DataFrame(STEPS, columns=["site_id", "step_no", "finding", "advance_mm", "read_depth_mm"])
    implants = follow_up(visits, cases).implants
    steps = steps.assign(deepest_before_mm=4.0)
    return Population(PLAN if plan is None else plan, cases, implants, visits, steps, data_until="2025-12")


def row(analysis: str, term: str, method: str = "", subset: str = "all") -> Row:
    """A row of results.csv."""
    return Row(analysis, subset, term, method)


# ── how it is written down ──────────────────────────────────────────────────────────────────────────────────


def letters(members: np.ndarray) -> str:
    """The sites of a set."""
    assert members.dtype == bool
    assert members.shape == (len(SITES),)
    return "".join(np.array(list(SITES))[members])


def patients(sites: str) -> str:
    """How a count of patients is written down."""
    return f"patients of {sites}"


def counted(one: Counted) -> str:
    """The sites counted, or those whose patients are."""
    assert one.unit in ("sites", "patients")
    return letters(one.members) if one.unit == "sites" else patients(letters(one.members))


def said(found: Behind | None) -> dict | None:
    """All that is said, in letters, but for what is nothing."""
    if found is None:
        return None
    month = found.by_month
    told = {
        "counts": {name: counted(one) for name, one in found.counts.items()},
        "gives_away": [counted(one) for one in found.gives_away],
        "by_interval": [counted(one) for one in found.by_interval],
        "rests_on": [letters(members) for members in found.rests_on],
        "parts": [letters(members) for members in found.parts],
        "needs": found.needs,
        "group": None if found.group is None else letters(found.group),
        "seen_in": found.seen_in,
        "by_month": month and (month.says, month.month, *map(letters, (month.followed, month.still, month.died))),
        "share": found.share,
        "effect": found.effect,
    }
    return {name: value for name, value in told.items() if value not in (None, 0, (), [], {})}


def estimate(sites: str, events: str | None = None, rests_on: tuple[str, ...] = (), **more) -> dict:
    """What is said of a row of results.csv of some sites."""
    counts = {"n_sites": sites, "n_patients": patients(sites)} | ({} if events is None else {"n_events": events})
    return {"counts": counts, "rests_on": [sites, *rests_on]} | more


def share(sites: str, events: str, **more) -> dict:
    """What is said of a share of few patients."""
    few = {"gives_away": [sites, events], "by_interval": [patients(sites)], "share": True}
    return estimate(sites, events, **few) | more


def model(sites: str, events: str, needs: int, **more) -> dict:
    """What is said of a coefficient that is no level's."""
    rest = "".join(site for site in sites if site not in events)
    return estimate(sites, events, parts=[events, rest], needs=needs) | more


def assert_said(behind, cases: list[tuple[Row, dict | None]], of: Population | None = None) -> None:
    """One population is asked all the rows, as a release asks it: what it keeps for one must not answer another."""
    of = of or population()
    for asked, expected in cases:
        assert said(behind(of, asked)) == expected, asked
