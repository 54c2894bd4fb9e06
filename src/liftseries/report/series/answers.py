"""What the first page says of who was studied."""

from __future__ import annotations

from liftseries.report.kit.blocks import Paragraph
from liftseries.report.kit.material import Material
from liftseries.report.kit.numbers import missing
from liftseries.report.kit.sentences import first, source
from liftseries.report.kit.stages import IN_SERIES, has_any, stages
from liftseries.report.languages.say import say
from liftseries.report.series.counts import centres, data_end

MOST_NAMED = 12  # centres that a sentence names


def who(material: Material) -> Paragraph | None:
    """Patients, sites and centres, median follow-up, the end of the data; None where nobody was counted."""
    row = stages(material).get(IN_SERIES)
    if row is None or not has_any(row["n_sites"]):
        return None
    followed, rows = follow_up(material)
    return Paragraph(" ".join(filter(None, (where(material, row), followed, data_end(material)))), rows)


def where(material: Material, row) -> str:
    """How many sites of how many patients, at which centres, when, and by how many operators."""
    counts, names = {"sites": row["n_sites"], "patients": row["n_patients"]}, centres(material)
    at = say("series.who_at", centres=len(names), names=names) if names else ""
    at = say("series.who_at_many", centres=len(names)) if len(names) > MOST_NAMED else at
    return say("series.who", **counts, at=at, when=when(material))


def when(material: Material) -> str:
    """Years of surgery and number of operators, to be put into a sentence; empty where they are not told."""
    row = first(material.read("setting"))
    if row is None or missing(row["first_year"]):
        return ""
    years = {"first": int(row["first_year"]), "last": int(row["last_year"])}
    name = "series.when_one_year" if years["first"] == years["last"] else "series.when"
    return say(name, **(years if name == "series.when" else {"year": years["first"]}), operators=row["n_operators"])


def follow_up(material: Material) -> tuple[str, str]:
    """Median follow-up in a sentence, and its row; empty where nobody was followed."""
    rows = material.quoted("followup.median")
    row = first(rows[rows["term"].eq("median")])
    if row is None:
        return "", ""
    limits = row["conf_low"], row["conf_high"]
    interval = "" if any(map(missing, limits)) else say("series.followed_interval", low=limits[0], high=limits[1])
    sentence = say(
        "series.followed",
        months=row["estimate"],
        interval=interval,
        implants=row["n_sites"],
        patients=row["n_patients"],
    )
    return sentence, source(row)
