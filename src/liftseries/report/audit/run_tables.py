"""What a finished run left, for the files beside the audit's report; a table that is not there is an empty one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import pandas as pd

from liftseries.base.outputs import formula_undone
from liftseries.base.tables import read_table
from liftseries.geometry.derived import STEP_COLUMNS
from liftseries.models.files import file_of
from liftseries.models.questions import QUESTIONS

COLUMNS = {table.name: table.columns.split() for question in QUESTIONS for table in question.leaves}
CHECKED = {
    "instruments": "instrument_id role approach diameter_mm length_mm guide_shank_mm",
    "stops": "stop_id marking_mm marking_means marked_on_length_mm",
    "steps": "site_id step_no instrument_id stop_id intended_depth_mm speed_rpm finding read_depth_mm",
    "visits": "site_id months status bone_height_mm marginal_bone_mm complication",
    "actions": "id year indicator unit what owner due measure status closed_on reason",
    "responses": "year unit indicator replied_on data_corrected statement",
}


@dataclass(frozen=True)
class RunTables:
    """A finished run.

    Attributes
    ----------
    output : its folder
    plan : study.yaml with every default filled in (`Plan.as_written`)
    """

    output: Path
    plan: Mapping[str, Any]

    @property
    def asked(self) -> Mapping[str, Any]:
        """The section `plan`."""
        return self.plan["plan"]

    @property
    def audit(self) -> Mapping[str, Any]:
        """`plan.audit`."""
        return self.asked["audit"]

    @cached_property
    def cases(self) -> pd.DataFrame:
        """One row a site with all that is known of it."""
        return pd.read_parquet(self.output / file_of("cases"))

    def checked(self, name: str) -> pd.DataFrame:
        """A checked table."""
        path = self.output / f"checked/{name}.parquet"
        table = pd.read_parquet(path) if path.is_file() else pd.DataFrame()
        return table.assign(**{column: None for column in CHECKED[name].split() if column not in table})

    @cached_property
    def steps(self) -> pd.DataFrame:
        """The drilling log with depths; their rows stand in the order of the checked log."""
        steps, path = self.checked("steps"), self.output / file_of("derived_steps")
        if not len(steps) or not path.is_file():
            return steps.iloc[:0].assign(**dict.fromkeys(STEP_COLUMNS))
        return pd.concat([steps, pd.read_csv(path, usecols=list(STEP_COLUMNS))], axis=1)

    def left(self, name: str) -> pd.DataFrame:
        """A table that a question left, its sites and units called as in the checked tables."""
        table = read_table(self.output / file_of(name), COLUMNS[name])
        named = [column for column in ("site_id", "unit") if column in table]
        return table.assign(**{column: table[column].map(formula_undone) for column in named})
