"""Made-up series, whole and as they may leave the house."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.append(str(Path(__file__).parents[1] / "report"))

from made_series import PLAN, Series, made_readings, made_series

from liftseries.base.outputs import write_csv
from liftseries.models.files import file_of
from liftseries.models.shared.population import Population
from liftseries.release.answers import with_answers
from liftseries.release.coarse import with_coarse
from liftseries.release.masking import Masked, mask
from liftseries.report.kit.material import Material, read_material

SMALLEST_CELL = 5
KINDS = {
    "sixty": {"n_patients": 60, "seed": 8},
    "dozen": {"n_patients": 12, "seed": 9},
    "tiny": {"n_patients": 2, "seed": 4},
    "empty": {"n_patients": 0, "seed": 6},
}
HUNDRED_AND_TWENTY = "hundred and twenty"
THIRTY_WITHOUT_A_TEAR = "thirty without a tear"  # nor visits, nor a log
FORTY_WITHOUT_VISITS = "forty without visits"  # of which many counts are shown
FORTY_WITHOUT_A_LOG = "forty without a log"  # of whose different counts more than half hang on one of few patients


@dataclass(frozen=True)
class Made:
    """A series, what its report in the house is made from, and what the released one is."""

    series: Series
    population: Population
    whole: Material

    @cached_property
    def masked(self) -> Masked:
        """Looked for when first asked for: it takes its time."""
        masked = with_coarse(mask(self.whole, self.population, SMALLEST_CELL), SMALLEST_CELL)
        return with_answers(masked, SMALLEST_CELL)


@cache
def made_of(kind: str) -> Made:
    """A series of a kind, made once."""
    more = {
        FORTY_WITHOUT_VISITS: {"n_patients": 40, "seed": 8, "visits": False, "log": False},
        FORTY_WITHOUT_A_LOG: {"n_patients": 40, "seed": 8, "log": False},
        THIRTY_WITHOUT_A_TEAR: {"n_patients": 30, "seed": 9, "visits": False, "log": False, "torn": False},
        HUNDRED_AND_TWENTY: {"n_patients": 120, "seed": 8},
    }
    return made_series_of(**(KINDS | more)[kind])


def made_series_of(**options) -> Made:
    """A series made by `made_series`."""
    series = made_series(**options)
    with TemporaryDirectory() as output:
        series.leave_in(Path(output))
        write_csv(Path(output) / file_of("survival_curves"), series.curves)
        whole = read_material(output, PLAN, {"liftseries": "0"}, {"sites_of_a_person.csv": "0" * 64})
    population = Population(PLAN["plan"], series.cases, series.implants, series.visits, made_readings(series.cases))
    return Made(series, population, whole)
