"""The population of a finished run, read from the tables that it left."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from liftseries.base.tables import read_table
from liftseries.models.files import file_of
from liftseries.models.shared.population import Population
from liftseries.study.plan import Plan


def read_population(output: Path, plan: Plan) -> Population:
    """From the tables that a run left in its output folder."""
    return Population(
        plan=plan.as_written["plan"],
        cases=pd.read_parquet(output / file_of("cases")).reset_index(drop=True),
        implants=pd.read_parquet(output / file_of("implants")).reset_index(drop=True),
        visits=pd.read_parquet(output / "checked/visits.parquet"),
        steps=read_table(output / "derived/steps.csv"),
        data_until=plan.data_until,
    )
