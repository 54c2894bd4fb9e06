"""A study's cases without a run: its tables read and checked, depths recomputed, a row a site."""

from __future__ import annotations

from dataclasses import fields

import pandas as pd

from liftseries.geometry.derived import centre_of_sites, derive
from liftseries.geometry.limits import Limits
from liftseries.intake.study import empty_table, read_study
from liftseries.models.shared.cases import cases
from liftseries.study.plan import Plan


def read_cases(plan: Plan) -> pd.DataFrame:
    """One row a site, as the workflow's work/cases.parquet holds it; see `cases()`.

    Raises
    ------
    StudyError
        With every problem of the tables; see `read_study`.
    """
    checked = read_study(plan).tables
    tables = {name: checked.get(name, empty_table(table)) for name, table in plan.schema.items()}
    limits = Limits(**{field.name: getattr(plan, field.name) for field in fields(Limits)})
    read = (tables[name] for name in ("sites", "steps", "instruments", "stops"))
    _, derived = derive(*read, limits=limits, centre=centre_of_sites(tables["sites"], tables["patients"]))
    return cases(tables["patients"], tables["sites"], derived, plan.rbh_bands_mm, plan.lift_bands_mm)
