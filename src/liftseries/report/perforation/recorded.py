"""Perforations as recorded, in sentences: when noticed, how large, how looked for, how managed, what followed."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import is_few, is_withheld, missing
from liftseries.report.kit.sentences import source
from liftseries.report.kit.tables.described import recorded
from liftseries.report.languages.say import say
from liftseries.report.perforation.recorded_tables import NOT_PERFORATED, PERFORATED, test_words
from liftseries.report.perforation.sentences import Told

STAGES = ("drilling", "lifting", "grafting", "placing")
MANAGED = ("none", "membrane", "suture", "delayed", "abandoned")
NAMED = 2  # how many of the commonest levels a sentence names; the table has them all


def recorded_sentences(material: Material) -> Iterable[Told]:
    """Stage, management, size, tests, sequel: those that were recorded."""
    yield from commonest(material, "perforation.stage", STAGES, "stage")
    yield from commonest(material, "perforation.management", MANAGED, "management")
    yield from size_sentence(material)
    yield from test_sentence(material)
    yield from sequel_sentence(material)


def seen(rows: pd.DataFrame, levels: Iterable[str]) -> pd.DataFrame:
    """Rows of these levels with a count that is known and not 0, the commonest first."""
    n = pd.to_numeric(rows["n_events"]).fillna(0)
    return rows[rows["term"].isin(levels) & n.gt(0)].sort_values("n_events", ascending=False, kind="stable")


def commonest(material: Material, analysis: str, levels: tuple[str, ...], name: str) -> Iterable[Told]:
    """The commonest stages, or ways of managing, with their counts; nothing where one that is withheld may be."""
    every = recorded(material.rows(analysis))
    rows = seen(every, levels).head(NAMED)
    among = every.loc[every["term"].isin(levels), "n_events"]
    if rows.empty or any(is_withheld(n) and not is_few(n) for n in among) or is_withheld(rows["n_sites"].iloc[0]):
        return
    told = [say(f"perforation.{name}_{row['term']}", n=row["n_events"]) for _, row in rows.iterrows()]
    whole = {"n_events": rows["n_sites"].iloc[0]} if name == "stage" else {}
    yield say(f"perforation.{name}", told=told, **whole), [source(row) for _, row in rows.iterrows()]


def size_sentence(material: Material) -> Iterable[Told]:
    """How large perforations were."""
    of_term = {row["term"]: row for _, row in recorded(material.rows("perforation.size")).iterrows()}
    median, *quartiles = (of_term.get(name) for name in ("median", "q1", "q3"))
    if median is None or not median["headline"] or missing(median["estimate"]):
        return
    holes = {"n_sites": median["n_sites"], "median": median["estimate"]}
    if any(row is None or missing(row["estimate"]) for row in quartiles):
        yield say("perforation.size_median", **holes), [source(median)]
        return
    low, high = (row["estimate"] for row in quartiles)
    yield say("perforation.size", **holes, low=low, high=high), list(map(source, (median, *quartiles)))


def test_sentence(material: Material) -> Iterable[Told]:
    """How perforations were looked for."""
    rows = recorded(material.rows("perforation.test"))
    rows = rows.sort_values("n_sites", ascending=False, kind="stable")
    told = [
        say("perforation.test_none", n_sites=row["n_sites"])
        if row["term"] == "none"
        else say("perforation.test_item", test=test_words(row["term"]), n_sites=row["n_sites"])
        for _, row in rows.iterrows()
    ]
    if told:
        yield say("perforation.test", told=told), [source(row) for _, row in rows.iterrows()]


def sequel_sentence(material: Material) -> Iterable[Told]:
    """Failures and sinusitis at perforated sites and at the others, as counted."""
    rows = recorded(material.rows("perforation.sequel"))
    at = {(row["subset"], row["term"]): row for _, row in rows.iterrows()}
    told, keys = [], []
    for term in ("failure", "sinusitis"):
        pair = [at.get((subset, term)) for subset in (PERFORATED, NOT_PERFORATED)]
        if any(row is None or is_withheld(row["n_events"]) or is_withheld(row["n_sites"]) for row in pair):
            continue
        perforated, others = (say("perforation.of", n=int(row["n_events"]), of=int(row["n_sites"])) for row in pair)
        told.append(say(f"perforation.sequel_{term}", perforated=perforated, others=others))
        keys += map(source, pair)
    if told:
        yield say("perforation.sequel", told=told), keys
