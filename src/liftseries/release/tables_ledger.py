"""The ledger of the tables that describe the series: flow, characteristics, gaps, deviations, follow-up, left out."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import partial

import numpy as np
import pandas as pd

from liftseries.models.series.describe import LABEL_COLUMNS, is_missing
from liftseries.models.shared.follow_up import failure_intervals
from liftseries.models.shared.levels import as_levels, is_number
from liftseries.models.shared.outcomes import gain_at_visits
from liftseries.release.estimates_ledger import EXPOSURES, Who, gain_sites, outcome_of
from liftseries.release.ledger import Ledger
from liftseries.release.population import Population

SERIES, SURVIVAL = ["series"], ["survival"]


def enter_tables(ledger: Ledger, tables: Mapping[str, pd.DataFrame]) -> None:
    """Enters every count of these tables that it knows.

    Parameters
    ----------
    ledger
    tables : name in `report.material.Material` -> table
    """
    for name, enter in ENTER.items():
        for position, row in enumerate(tables[name].itertuples(index=False)):
            enter(ledger, (name, position), row)


def flow_stages(p: Population) -> dict[str, np.ndarray]:
    """Sites that reached each stage."""
    examined = p.visits.loc[
        p.visits["status"].astype(object).isin(["functioning", "failed", "patient_died"]), "site_id"
    ]
    return {
        "in the series": p.everyone,
        "with a drilling log": p.cases["first_too_deep"].notna().to_numpy(bool),
        "perforation known": p.perforation_known,
        "with an implant": p.placed,
        "with a visit": p.visited,
        "followed": p.placed & p.where_sites(examined),
    }


def _flow(ledger: Ledger, place, row) -> None:
    """Of what was read before anything was set aside the population knows nothing; see `masking._flow`."""
    members = flow_stages(ledger.population).get(row.stage)
    if members is not None:
        recorded = row.stage in ("in the series", "with a drilling log", "perforation known")
        ledger.cell(place, "n_sites", SERIES, members, recorded=recorded)
        ledger.cell(place, "n_patients", SERIES, members, "patients", recorded=recorded)


def _characteristic(ledger: Ledger, place, row) -> None:
    p = ledger.population
    if row.column not in p.cases:
        return
    unit = "patients" if row.unit == "patient" else "sites"
    values, subset = p.cases[row.column], p.subset(row.subset)
    if is_number(values) and row.column not in LABEL_COLUMNS:
        known = np.isfinite(values.to_numpy(float, na_value=np.nan))
        level = known
        ledger.rests(place, subset & known)
    else:
        levels = as_levels(values)
        known, level = levels.codes >= 0, np.asarray(levels == row.level)
    # A patient's value stands at each of their sites, so that no other site of theirs says otherwise.
    table = [f"characteristics {row.column}"]
    ledger.cell(place, "n", table, subset & level, unit, recorded=row.level == "")
    ledger.cell(place, "n_known", table, subset & known, unit, recorded=True)
    ledger.cell(place, "n_missing", table, subset & ~known, unit, recorded=True)


def _missing(ledger: Ledger, place, row) -> None:
    p = ledger.population
    if row.column not in p.cases:
        return
    subset = p.subset(row.subset)
    table = [f"missing {row.column}"]
    ledger.cell(place, "n", table, subset, recorded=row.subset == "all")
    ledger.cell(place, "n_missing", table, subset & is_missing(p.cases[row.column]), recorded=True)


def _deviation(ledger: Ledger, place, row) -> None:
    p = ledger.population
    if row.deviation not in p.cases:
        return
    flags = p.cases[row.deviation].astype("boolean")
    judged = p.subset(row.subset) & flags.notna().to_numpy(bool)
    table = [f"deviations {row.deviation}"]
    ledger.cell(place, "n_sites", table, judged)
    ledger.cell(place, "n_true", table, judged & flags.fillna(False).to_numpy(bool))


def _complication(ledger: Ledger, place, row) -> None:
    p = ledger.population
    asked = p.visits.loc[p.visits["complication"].notna(), ["site_id", "complication"]]
    ever = p.where_sites(asked.loc[asked["complication"].astype(object).eq(row.complication), "site_id"])
    table = ["complications"]
    ledger.cell(place, "n_sites", table, ever)
    ledger.cell(place, "n_patients", table, ever, "patients")
    ledger.cell(place, "n_asked", table, p.where_sites(asked["site_id"]))


def _life_table(ledger: Ledger, place, row) -> None:
    p = ledger.population
    entering = p.followed & (p.months >= row.start_months)
    within = entering & (p.months < row.end_months)
    ledger.cell(place, "n_entering", SURVIVAL, entering)
    ledger.cell(place, "n_failed", SURVIVAL, within & p.failed)
    ledger.cell(place, "n_censored", SURVIVAL, within & ~p.failed)
    ledger.gives_away(place, SURVIVAL, p.followed & p.failed & (p.months < row.start_months))


def _at_risk(ledger: Ledger, place, row) -> None:
    p = ledger.population
    part = p.followed & p.subset(row.subset)
    before = part & (p.months < row.months)
    tables = SURVIVAL if row.subset == "all" else [f"survival by {row.subset.partition('=')[0]}"]
    ledger.cell(place, "n_at_risk", tables, part & ~before)
    ledger.cell(place, "n_failed", tables, before & p.failed)
    ledger.cell(place, "n_censored", tables, before & ~p.failed)


def _gain_by_visit(ledger: Ledger, place, row) -> None:
    """A recall's measurements are a set of sites only where no site was measured twice in it; else it is withheld."""
    p = ledger.population
    gains = gain_at_visits(p.visits, p.cases)
    months = gains["months"].to_numpy(float)
    recall = np.select([months < 3, months < 9, months < 18], [0, 6, 12], np.floor(months / 12 + 0.5) * 12)
    measured = p.where_sites(gains.loc[recall == row.months, "site_id"])
    ledger.cell(place, "n", ["gain"], measured)
    ledger.rests(place, measured)


def _gain_variances(ledger: Ledger, place, row) -> None:
    """The number of visits is no set of sites: it has no entry and is withheld."""
    ledger.rests(place, gain_sites(ledger.population, ledger.population.plan.gain_terms))


def _imputed(table: Callable[[Population], np.ndarray], ledger: Ledger, place, row) -> None:
    p = ledger.population
    if row.variable in p.cases:
        gaps = table(p) & is_missing(p.cases[row.variable])
        unit = "patients" if row.level_of == "patient" else "sites"
        ledger.cell(place, "n_missing", [f"missing {row.variable}"], gaps, unit, recorded=True)


def _left_out(ledger: Ledger, place, row) -> None:
    for members, recorded in _reasons(ledger.population, row):
        ledger.cell(place, "n_sites", [outcome_of(row.analysis)], members, recorded=recorded)
        return


def _reasons(p: Population, row) -> Iterator[tuple[np.ndarray, bool]]:
    """The sites that an analysis left out for a reason, and whether it only says that something is not on record."""
    analysis, reason = row.analysis, str(row.reason)
    implants = analysis.startswith("survival.")
    simple = {
        "perforation unknown": (~p.perforation_known, True),
        "no implant placed": (~p.placed, False),
        "no visit": (p.placed & ~p.visited, False),
        "not examined at any visit": (p.placed & p.visited & ~p.followed, False),
        "no visit with a bone height": (~gain_sites(p, None), False),
        "as in depth.agreement": (
            p.cases[["achieved_last_mm", "planned_last_mm"]].isna().any(axis=1).to_numpy(bool),
            True,
        ),
    }
    if reason in simple:
        members, recorded = simple[reason]
        yield members & p.subset(row.subset), recorded
    elif row.subset in p.cases and reason == f"{row.subset} unknown":
        yield (p.followed if implants else p.everyone) & (as_levels(p.cases[row.subset]).codes < 0), True
    elif analysis == "depth.agreement":
        no_log = p.cases["achieved_last_mm"].isna().to_numpy(bool)
        no_plan = p.cases["planned_last_mm"].isna().to_numpy(bool)
        named = {"achieved_last_mm missing": no_log, "planned_last_mm missing": no_plan & ~no_log}
        if reason in named:
            yield named[reason], True
    elif analysis == "gain.mixed":
        used = gain_sites(p, p.plan.gain_terms)
        told = [members & gain_sites(p, None) & ~used for members in _first_missing(p, reason)]
        yield from ((members, True) for members in told)
    elif reason == "never seen in function after placement":
        left, right = failure_intervals(p.implants)
        yield p.of_implants(~((left > 0) | np.isfinite(right))), False
    elif analysis == "survival.gain" and reason == "failed by the landmark":
        yield p.followed & p.failed & (p.months <= p.plan.landmark_months), False
    elif analysis == "survival.gain" and reason == "not followed beyond the landmark":
        yield p.followed & ~p.failed & (p.months <= p.plan.landmark_months), False
    elif model := _model_of(p, analysis):
        _, reasons, _ = Who(p).model(*model)
        yield reasons == reason, True


def _first_missing(p: Population, reason: str) -> Iterator[np.ndarray]:
    """Sites with a term missing, where it alone can be: two would need the order of the terms."""
    column = reason.partition(" ")[0]
    if column in p.cases and column in p.plan.gain_terms:
        yield is_missing(p.cases[column])


def _model_of(p: Population, analysis: str) -> tuple[str, tuple[str, ...]] | None:
    """Kind and terms of the model whose complete cases an analysis takes."""
    terms = p.plan.perforation_terms
    if analysis in EXPOSURES:
        return "perforation", (EXPOSURES[analysis], *(term for term in terms if term != EXPOSURES[analysis]))
    if analysis in ("perforation.gee", "perforation.firth", "perforation.validation"):
        return "perforation", terms
    hazards = {
        "survival.cox": "hazard",
        "survival.firth_cox": "hazard",
        "survival.ph": "hazard",
        "survival.interval": "interval",
    }
    if analysis in hazards:
        return hazards[analysis], p.plan.survival_terms
    if analysis == "survival.gain":
        return "landmark", ("gain_mm", *(term for term in p.plan.survival_terms if term != "gain_mm"))
    return None


ENTER = {
    "flow": _flow,
    "characteristics": _characteristic,
    "missing": _missing,
    "deviations": _deviation,
    "complications": _complication,
    "life_table": _life_table,
    "survival_at_risk": _at_risk,
    "gain_by_visit": _gain_by_visit,
    "gain_variances": _gain_variances,
    "perforation_imputation": partial(_imputed, lambda p: p.perforation_known),
    "survival_imputation": partial(_imputed, lambda p: p.followed),
    "left_out": _left_out,
}
