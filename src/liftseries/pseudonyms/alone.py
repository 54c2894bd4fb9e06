"""How many patients stand alone in what was written: pseudonyms do not make tables anonymous."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping

import pandas as pd

from liftseries.base.numbers import counted

STATUS = "pseudonymous personal data, not anonymous, to be shared under agreement only"


def patients_alone(tables: Mapping[str, pd.DataFrame]) -> tuple[int, int, int]:
    """Patients, those whom nobody equals by centre, age, years of surgery and teeth, and those without the teeth.

    Parameters
    ----------
    tables : as they are written, `patients` and `sites` among them where there are any
    """
    patients = tables.get("patients", pd.DataFrame(columns=["patient_id"]))
    years, teeth = defaultdict(list), defaultdict(list)
    if {"patient_id"} <= set(sites := tables.get("sites", pd.DataFrame())):
        for patient, year, tooth in zip(*(_of(sites, n) for n in ("patient_id", "surgery_year", "tooth")), strict=True):
            years[patient].append(year)
            teeth[patient].append(tooth)
    known = list(zip(*(_of(patients, name) for name in ("patient_id", "centre", "age_years")), strict=True))
    whole = [(*rest, *sorted(years[patient]), *sorted(teeth[patient])) for patient, *rest in known]
    fewer = [(*rest, *sorted(years[patient])) for patient, *rest in known]
    return len(known), _alone(whole), _alone(fewer)


def said_of(tables: Mapping[str, pd.DataFrame]) -> str:
    """The last line that a user reads."""
    n, alone, without_teeth = patients_alone(tables)
    if not n:
        return f"No table of patients: nobody can be counted as standing alone. {STATUS.capitalize()}."
    stand = "stands" if alone == 1 else "stand"
    return (
        f"{alone} of {counted(n, 'patient')} {stand} alone by centre, age, year and teeth ({without_teeth} without "
        f"teeth): {STATUS}."
    )


def _of(table: pd.DataFrame, name: str) -> list[str]:
    return [cell or "" for cell in table[name]] if name in table else [""] * len(table)


def _alone(rows: list[tuple]) -> int:
    return sum(n == 1 for n in Counter(rows).values())
