"""What forms of reading cost: one file of 100,000 sites made three tables, against reading it once.

.venv/bin/python tests/benchmarks/forms_of_reading.py
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from studies import tables, write_plan

from liftseries.intake.files.read_sheet import read_sheet
from liftseries.intake.forms.files_read import FilesRead
from liftseries.study.plan import read_plan

N_SITES = 100_000
FORMS = """files:
  all.csv:
    prefix: N
    constants: {patients: {centre: north}}
    empty_means: {sites: {graft: none}}
    columns:
      patients: {sex: {from: sex, words: {w: female}}, smoking: {from: smoking, words: {nie: never}}}
      sites:
        rbh_min_mm: {from: [rbh_min_mm, second], take: lowest}
        implant_diameter_mm: {from: implant, part: 1}
        implant_length_mm: {from: implant, part: 2}
      visits:
        each:
          - {months: 6, status: status 6m, bone_height_mm: bone 6m}
          - {months: 12, status: status 12m, bone_height_mm: bone 12m}
"""


def write(folder: Path) -> None:
    """The study of one flat file."""
    drawn = tables()
    sites = pd.concat([drawn["sites"]] * (N_SITES // 4), ignore_index=True)
    sites["site_id"] = [f"s{at}" for at in range(len(sites))]
    sites["patient_id"] = [f"p{at // 2}" for at in range(len(sites))]
    sites["implant"] = sites.pop("implant_diameter_mm") + "/" + sites.pop("implant_length_mm")
    own = {"age_years": "50", "sex": "w", "smoking": "nie", "diabetes": "no", "periodontitis": "no"}
    visits = {f"{what} {at}m": value for at in (6, 12) for what, value in (("status", "functioning"), ("bone", "8.5"))}
    sites.assign(second=sites["rbh_max_mm"], **own, **visits).to_csv(folder / "all.csv", index=False)
    for name in ("instruments", "stops"):
        drawn[name].to_csv(folder / f"{name}.csv", index=False)
    files = dict.fromkeys(("patients", "sites", "visits"), "all.csv")
    write_plan(folder, {**files, "instruments": "instruments.csv", "stops": "stops.csv"}, FORMS)


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        write(Path(name))
        plan = read_plan(name)
        (source,) = plan.tables["sites"]
        start = time.perf_counter()
        read_sheet(source, "sites")
        alone = time.perf_counter() - start
        files, start = FilesRead(plan.schema, plan.tables), time.perf_counter()
        for table in ("patients", "sites", "visits"):
            files.sheets_of(source, plan.schema[table], plan.readings["all.csv"])
        ratio = (time.perf_counter() - start) / alone
        print(f"read alone: {alone:.2f} s; read and made three tables: {ratio:.2f} times that")


if __name__ == "__main__":
    main()
