"""Made-up patients, how many sites each has, and what others may know of these: operator, year and tooth.

All of it is drawn until no record is too close to a real one; see `equality`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from liftseries.base.errors import Problem, StudyError
from liftseries.study.schema import Table
from liftseries.twin.donors import draw_column, draw_donors, is_measurement, resolution
from liftseries.twin.equality import Records, compared, known_of_sites

MOST_ROUNDS = 240
STRICT_ROUNDS = 160  # from here on a record that many real patients share is no longer refused
WHOLE_EVERY = 6  # rounds, of which one draws all sites of the patient anew and the others their teeth alone
WIDEST_MOVE = 1.5  # standard deviations
# Of each site: the columns in which a donor has to be equal, and those in which it should be like.
OF_SITE = {
    "operator": (["centre", "operator_before"], ["turn"]),
    "surgery_year": (["surgery_year_before", "centre"], ["operator", "turn"]),
    "tooth": (["tooth_before"], ["turn"]),
}


@dataclass(frozen=True)
class People:
    """Made-up patients and their sites.

    Attributes
    ----------
    patients : the columns of the schema
    sites : site_id, patient_id and the columns of `OF_SITE`, the sites of a patient in order of treatment
    patients_redrawn, sites_redrawn : how many records were drawn again, and again, for being too close
    """

    patients: pd.DataFrame
    sites: pd.DataFrame
    patients_redrawn: int
    sites_redrawn: int


def in_order_of_treatment(sites: pd.DataFrame) -> pd.DataFrame:
    """The sites patient by patient, the earliest first, with `turn` (0, 1, …) and the `…_before` of the site before."""
    ordered = sites.sort_values(["patient_id", "surgery_year", "operator_case_no", "site_id"], kind="stable")
    return with_the_site_before(ordered.reset_index(drop=True))


def with_the_site_before(sites: pd.DataFrame) -> pd.DataFrame:
    """Adds to sites that stand in order of treatment what was so at the patient's site before."""
    by_patient = sites.groupby("patient_id", sort=False)
    before = by_patient.shift().add_suffix("_before")
    return pd.concat([sites, before], axis=1).assign(turn=by_patient.cumcount())


def draw_people(
    tables: Mapping[str, pd.DataFrame], schema: Mapping[str, Table], k: int, rng: np.random.Generator
) -> People:
    """Draws as many patients as there are.

    Raises
    ------
    StudyError
        There are fewer than k patients, or some record stays too close to a real one, however often it is drawn.
    """
    if len(tables["patients"]) < k:
        message = f"too few patients for a twin: {len(tables['patients'])}, where sharing, smallest_cell asks for {k}."
        raise StudyError([Problem("twin, patients", f"{message} Share the release bundle instead.")])
    patients, n_patients_redrawn = _patients(tables["patients"], schema["patients"], k, rng)
    sites, n_sites_redrawn = _sites(tables, patients, schema, k, rng)
    return People(patients, sites, n_patients_redrawn, n_sites_redrawn)


# ── patients ────────────────────────────────────────────────────────────────────────────────────


def _patients(real: pd.DataFrame, table: Table, k: int, rng: np.random.Generator) -> tuple[pd.DataFrame, int]:
    real, names = real.reset_index(drop=True), compared(table)
    new = _draw_patients(real, len(real), table, rng)
    records, n_redrawn = Records(real[names], np.arange(len(real))), 0
    rows = np.arange(len(new))  # drawn since they were looked at: each record is close by itself
    for attempt in range(MOST_ROUNDS):
        rows = rows[records.too_close(new.iloc[rows][names], k, strict=attempt < STRICT_ROUNDS)]
        if not rows.size:
            return new, n_redrawn
        n_redrawn += rows.size
        new = _replaced(new, rows, _moved(new.iloc[rows], real, table, names, (attempt + 1) / MOST_ROUNDS, rng))
        # Whom no other age would part from the real one is drawn anew from the start.
        fixed = new.iloc[rows][names].assign(**dict.fromkeys(_measured(real, table, names), -1))
        stuck = rows[records.too_close(fixed, k)]
        new = _replaced(new, stuck, _draw_patients(real, stuck.size, table, rng))
    raise _too_alike("patients", rows.size)


def _measured(real: pd.DataFrame, table: Table, names: list[str]) -> list[str]:
    return [name for name in names if is_measurement(table.columns[name], real[name])]


def _draw_patients(real: pd.DataFrame, n: int, table: Table, rng: np.random.Generator) -> pd.DataFrame:
    """Column by column, each from patients who are alike in those before."""
    new, before = pd.DataFrame(index=range(n)), []
    for name, column in table.columns.items():
        if name not in table.key:
            new[name] = draw_column(real, new, column, rng, near=before)
            before.append(name)
    return new


def _moved(
    rows: pd.DataFrame, real: pd.DataFrame, table: Table, names: list[str], share: float, rng: np.random.Generator
) -> pd.DataFrame:
    """The records with measurements such as the age moved, the farther the more rounds it took."""
    moved = rows.copy()
    for name in _measured(real, table, names):
        values, step = rows[name].to_numpy(dtype=float, na_value=np.nan), resolution(_known(real[name]))
        spread = max(WIDEST_MOVE * share * _known(real[name]).std(), step)
        values = np.round((values + rng.normal(0, spread, values.size)) / step) * step
        values = values.clip(float(real[name].min()), float(real[name].max()))
        moved[name] = pd.Series(pd.array(np.round(values, 6), "Float64"), index=rows.index).astype(rows[name].dtype)
    return moved


def _known(column: pd.Series) -> np.ndarray:
    return column.dropna().to_numpy(dtype=float)


# ── sites ───────────────────────────────────────────────────────────────────────────────────────


def _sites(
    tables: Mapping[str, pd.DataFrame],
    patients: pd.DataFrame,
    schema: Mapping[str, Table],
    k: int,
    rng: np.random.Generator,
) -> tuple[pd.DataFrame, int]:
    real = in_order_of_treatment(tables["sites"])
    real = real.merge(tables["patients"][["patient_id", "centre"]], on="patient_id", how="left")
    n_of_real = tables["sites"].groupby("patient_id").size().reindex(tables["patients"]["patient_id"], fill_value=0)
    donor = draw_donors(tables["patients"].reset_index(drop=True), patients, rng, near=["centre"])
    patient = np.repeat(np.arange(len(patients)), n_of_real.to_numpy()[donor])
    new = pd.DataFrame({"patient_id": patient, "centre": patients["centre"].to_numpy()[patient]})
    new["turn"] = new.groupby("patient_id").cumcount()
    for name in OF_SITE:
        new[name] = real[name].iloc[:0].reindex(new.index)
    for turn in range(int(new["turn"].max()) + 1 if len(new) else 0):
        rows = np.flatnonzero(new["turn"] == turn)
        new = _replaced(new, rows, _draw_known(real, new, rows, list(OF_SITE), schema["sites"], rng))

    of_patient = patients[compared(schema["patients"])].iloc[patient].reset_index(drop=True)
    of_site = [name for name in compared(schema["sites"]) if name in OF_SITE]
    known = known_of_sites(tables, schema)[[*of_patient, *of_site]]
    records = Records(known, pd.factorize(tables["sites"]["patient_id"])[0])
    rows, n_redrawn = np.arange(len(new)), 0  # drawn since they were looked at
    for attempt in range(MOST_ROUNDS):
        made_up = pd.concat([of_patient.iloc[rows], new[of_site].iloc[rows]], axis=1)
        close = _twice(new)
        close[rows] |= records.too_close(made_up, k, strict=attempt < STRICT_ROUNDS)
        rows = np.flatnonzero(close)
        if not rows.size:
            return new.drop(columns=["centre", "turn"]), n_redrawn
        n_redrawn += rows.size
        if attempt % WHOLE_EVERY < WHOLE_EVERY - 1:
            new = _replaced(new, rows, _draw_known(real, new, rows, ["tooth"], schema["sites"], rng))
            continue
        rows = np.flatnonzero(new["patient_id"].isin(new["patient_id"].iloc[rows]))
        for turn in range(int(new["turn"].max()) + 1):
            now = rows[new["turn"].to_numpy()[rows] == turn]
            new = _replaced(new, now, _draw_known(real, new, now, list(OF_SITE), schema["sites"], rng))
    raise _too_alike("sites", rows.size)


def _draw_known(
    real: pd.DataFrame, new: pd.DataFrame, rows: np.ndarray, names: list[str], table: Table, rng: np.random.Generator
) -> pd.DataFrame:
    """Operator, year and tooth of some sites, each from sites like them and like the patient's site before."""
    again = new[["centre", "turn", *OF_SITE]].iloc[rows].reset_index(drop=True)
    before = new[list(OF_SITE)].iloc[rows - 1].reset_index(drop=True).mask(again["turn"] == 0)
    again = again.join(before.add_suffix("_before"))
    for name in names:
        within, near = OF_SITE[name]
        again[name] = draw_column(real, again, table.columns[name], rng, near=near, within=within)
    return again[names].set_axis(new.index[rows])


def _twice(sites: pd.DataFrame) -> np.ndarray:
    """Sites at a tooth that another site of the patient has, but for the first of them."""
    return (sites.duplicated(["patient_id", "tooth"]) & sites["tooth"].notna()).to_numpy()


def _replaced(table: pd.DataFrame, rows: np.ndarray, again: pd.DataFrame) -> pd.DataFrame:
    table = table.copy()
    for name in again:
        values = table[name].array.copy() if table[name].dtype == again[name].dtype else table[name].to_numpy(object)
        values[rows] = again[name].array
        table[name] = pd.Series(values, index=table.index).astype(again[name].dtype)
    return table


def _too_alike(table: str, n: int) -> StudyError:
    message = (
        f"{n} made-up {table} stay equal to a real one in what others may know, however often they are drawn: the "
        "study is too small or its patients too alike for a twin. Share the release bundle instead."
    )
    return StudyError([Problem(f"twin, {table}", message)])
