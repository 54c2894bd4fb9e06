"""Three invented centres' files of one study, each as a centre might send it, and the tables that they should become.

The rows are those of three centres of the made-up demo series. Nobody in them is real. `truth()` gives the tables;
`files.py` disguises them; `faults.FAULTS` are typing errors in them, each with what
the centre answers when it is asked.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

DEMO = Path(__file__).parents[3] / "synthetic_data"
PATIENTS = {"heath": 50, "fen": 55, "moor": 50}
WEST_MONTHS = {"6": "6m", "12": "12m", "36": "3j", "60": "5j"}
TABLES = ("patients", "sites", "visits")


def of_demo(centre: str) -> dict[str, pd.DataFrame]:
    """The first patients of a centre of the demo with their rows, as texts with decimal points."""
    separator = "," if centre == "heath" else ";"
    tables = {
        name: pd.read_csv(
            DEMO / f"{centre}_{name}.csv", sep=separator, dtype=str, keep_default_na=False, encoding="utf-8-sig"
        )
        for name in (*TABLES, "steps")
    }
    patients = tables["patients"]["patient_id"].unique()[: PATIENTS[centre]]
    tables["patients"] = tables["patients"][tables["patients"]["patient_id"].isin(patients)]
    tables["sites"] = tables["sites"][tables["sites"]["patient_id"].isin(patients)].drop(columns="flapless")
    for name in ("visits", "steps"):
        tables[name] = tables[name][tables[name]["site_id"].isin(tables["sites"]["site_id"])]
    for name, table in tables.items():
        tables[name] = table.replace({r"^(-?\d+),(\d+)$": r"\1.\2"}, regex=True).reset_index(drop=True)
    return tables


def nord() -> dict[str, pd.DataFrame]:
    """Numbers that are unlike only in the file, so that they get an N; no soft tissue; torques above 35 are 35."""
    tables = {name: table for name, table in of_demo("heath").items() if name != "steps"}
    for table in tables.values():
        for column in ("patient_id", "site_id"):
            if column in table:
                table[column] = table[column].str.replace(r"^heath-0*", "N", regex=True)
    sites = tables["sites"]
    sites["operator"] = sites["operator"].str.replace("op", "N", regex=False)
    above = pd.to_numeric(sites["torque_ncm"], errors="coerce") > 35
    sites["torque_ncm"] = sites["torque_ncm"].where(~above, "35")
    tables["patients"]["centre"] = "Nord"
    sites["soft_tissue_mm"] = ""
    sites["placement"] = sites["placement"].replace("", "same_day")
    return tables


def sud() -> dict[str, pd.DataFrame]:
    """The centre's own names; its drilling log, too."""
    tables = of_demo("fen")
    tables["patients"]["centre"] = "Sud"
    return tables


def west() -> dict[str, pd.DataFrame]:
    """Visits at nominal months, the nearest of each; nobody counted the operators' cases."""
    tables = {name: table for name, table in of_demo("moor").items() if name != "steps"}
    tables["patients"]["centre"] = "West"
    tables["sites"]["operator_case_no"] = ""
    visits = tables["visits"]
    months = pd.to_numeric(visits["months"])
    nominal = pd.Series("", index=visits.index)
    for month in WEST_MONTHS:
        nominal[(months - float(month)).abs() <= max(2, float(month) / 10)] = month
    visits = visits.assign(months=nominal)[nominal != ""]
    tables["visits"] = visits.drop_duplicates(["site_id", "months"]).reset_index(drop=True)
    return tables


def truth() -> dict[str, pd.DataFrame]:
    """The study's tables, without a fault."""
    centres = [nord(), sud(), west()]
    tables = {name: pd.concat([centre[name] for centre in centres], ignore_index=True) for name in TABLES}
    tables["steps"] = centres[1]["steps"]
    for name in ("instruments", "stops"):
        tables[name] = pd.read_csv(DEMO / f"{name}.csv", dtype=str, keep_default_na=False)
    return {name: table.fillna("") for name, table in tables.items()}
