"""A twin as a study folder: tables, study.yaml and a note that says that all of it is made up."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
import pandas as pd

from liftseries.base.errors import UsageError
from liftseries.base.outputs import remake_folder, write_csv, write_text
from liftseries.base.progress import step
from liftseries.geometry.limits import Limits
from liftseries.intake.study import check_study, empty_table, read_study
from liftseries.study.plan import PLAN_FILE, Plan, read_plan
from liftseries.twin.labels import fresh_labels, relabelled, relabelled_plan
from liftseries.twin.log import draw_steps
from liftseries.twin.people import draw_people
from liftseries.twin.sites import draw_sites, with_terms
from liftseries.twin.visits import TERMS, draw_visits

NOTE_FILE = "twin.txt"
NOT_APPLICABLE = "n/a"
NOTE = """\
THIS IS A MADE-UP COPY: all data in this folder are synthetic. No row describes a real patient, implant or surgery.

The tables were drawn column by column from a real series of {n_patients} patients, so that cluster sizes, missing
values, the distribution of each column and the main relations between columns are about those of the real one:
bone height with implant length and approach, tears with bone and approach, failures with time, bone and smoking,
the log with the planned depths. Labels and keys are fresh. Instruments and stops are devices and are as they were.

Use it to try methods and programs on. Estimates from it are not results: whatever is found here has to be found
again in the real data.

Compared with the real patients on
    {compared},
no patient's or site's record is equal to a real one in all that it has of these unless {k} or more real patients share
it, nor in all but one (at least four) where that points at one patient alone. Until that was so, {patients} patients'
and {sites} sites' records were drawn again. Two unrelated people agree by chance on some common answers, and so do
real and made-up ones.

This is no guarantee of anonymity: it was not built by differential privacy, and how much a copy tells of the values
of a single patient was not measured. Treat it by the rules that the study was approved under.
"""
HEAD = "# MADE-UP COPY, synthetic data: everything in this folder is made up; see twin.txt.\n"


@dataclass(frozen=True)
class Twin:
    """Made-up tables of a study, in the schema's columns.

    Attributes
    ----------
    tables : by name, with fresh keys and labels
    labels : by column, real label -> fresh one; it does not leave the house
    patients_redrawn, sites_redrawn : records drawn again for being too close to a real one
    """

    tables: dict[str, pd.DataFrame]
    labels: dict[str, dict[str, str]]
    patients_redrawn: int
    sites_redrawn: int


def make_twin(plan: Plan, folder: Path | str, seed: int | None = None) -> Twin:
    """Draws a twin of the study and writes it as a study folder.

    Parameters
    ----------
    plan
        Of the real study; its tables have to be without a problem, or set aside.
    folder
        To be made; must be empty or not yet there, and not inside the study's own folder.
    seed
        The plan's where None. The tables themselves are part of the seed, so that nobody who knows the number alone
        can draw the same again.

    Raises
    ------
    UsageError
        The folder holds something, or lies in the study's.
    StudyError
        The study has problems, or is too small or too uniform for a twin.
    """
    folder = Path(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError(f"{folder} is there already and not an empty folder. Name another one.")
    if folder.resolve().is_relative_to(plan.folder.resolve()):
        raise UsageError(f"{folder} lies in the study's own folder. Name one outside it.")
    step("Reading the tables")
    intake = read_study(plan)
    step("Drawing made-up patients")
    twin = draw_twin(intake.tables, plan, plan.seed if seed is None else seed, intake.not_applicable)
    with remake_folder(folder) as made:
        for name, table in twin.tables.items():
            write_csv(made / f"{name}.csv", table)
        write_text(made / PLAN_FILE, _study_text(plan, twin))
        write_text(made / NOTE_FILE, _note(plan, twin))
        step("Checking the copy")
        problems = check_study(read_plan(made))[1]
        if problems:
            raise AssertionError(f"the twin has {len(problems)} problems of its own, the first: {problems[0]}")
    return twin


def draw_twin(
    tables: Mapping[str, pd.DataFrame], plan: Plan, seed: int, not_applicable: Mapping[str, pd.DataFrame] | None = None
) -> Twin:
    """The twin's tables; see `make_twin`.

    Parameters
    ----------
    not_applicable : by table, true where a cell is empty because there was nothing to record
        Kept as the word `NOT_APPLICABLE` in a study that has such words of its own; what the other cells of the row
        say so of, intake tells again by itself.
    """
    schema = plan.schema
    rng = np.random.default_rng([seed, *_fingerprint(tables)])
    people = draw_people(tables, schema, plan.smallest_cell, rng)
    sites, gaps_of_sites = draw_sites(tables, people.patients, people.sites, schema["sites"], rng)
    centre = people.patients["centre"].to_numpy()[sites["patient_id"].to_numpy(dtype=int)]
    sites = sites.assign(site_id=np.arange(len(sites)))
    made = {"patients": people.patients.assign(patient_id=np.arange(len(people.patients))), "sites": sites}
    if "steps" in tables:
        drills = {name: tables[name] for name in ("sites", "steps", "instruments", "stops")}
        of_patient = tables["patients"].set_index("patient_id")["centre"]
        real_centre = tables["sites"]["patient_id"].map(of_patient)
        limits = Limits(**{field.name: getattr(plan, field.name) for field in fields(Limits)})
        made["steps"] = draw_steps(drills, sites.assign(centre=centre), real_centre, limits, schema["steps"], rng)
    if "visits" in tables:
        known = [_for_visits(each) for each in (tables, made)]
        made["visits"], gaps_of_visits = draw_visits(tables["visits"], *known, schema["visits"], rng)
    if not_applicable and plan.reading.not_applicable:
        made["sites"] = _told_apart(made["sites"], not_applicable["sites"], gaps_of_sites)
        if "visits" in made:
            made["visits"] = _told_apart(made["visits"], not_applicable["visits"], gaps_of_visits)
    made |= {name: tables.get(name, empty_table(schema[name])) for name in ("instruments", "stops")}
    labels = fresh_labels(tables, schema, rng)
    keys = _keys(made, rng)
    finished = {}
    for name, table in made.items():
        table = relabelled(table, labels)
        for key, number in keys.items():
            if key in table:
                table = table.assign(**{key: table[key].map(number)})
        order = [key for key in schema[name].key if key in table]
        table = table.sort_values(order, kind="stable", ignore_index=True)
        finished[name] = table[list(schema[name].columns)]
    ordered = {name: finished[name] for name in schema if name in finished}
    return Twin(ordered, labels, people.patients_redrawn, people.sites_redrawn)


def _told_apart(table: pd.DataFrame, not_applicable: pd.DataFrame, gaps: np.ndarray) -> pd.DataFrame:
    """Writes the word where the real row that lent its gaps had nothing to record."""
    marked = table.copy()
    for name in not_applicable:
        at = not_applicable[name].to_numpy(dtype=bool)[gaps] & table[name].isna().to_numpy()
        if at.any():
            marked[name] = table[name].astype(object).mask(at, NOT_APPLICABLE)
    return marked


def _for_visits(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    sites = with_terms(tables["sites"])[["site_id", *TERMS]]
    return sites.merge(tables["patients"][["patient_id", "centre", "smoking"]], on="patient_id", how="left")


def _keys(made: Mapping[str, pd.DataFrame], rng: np.random.Generator) -> dict[str, dict[int, str]]:
    """Fresh keys in random order."""
    keys = {}
    for table, key, prefix in (("patients", "patient_id", "tw-p"), ("sites", "site_id", "tw-s")):
        numbers = rng.permutation(len(made[table])) + 1
        width = max(len(str(len(made[table]))), 4)
        keys[key] = {row: f"{prefix}{number:0{width}d}" for row, number in enumerate(numbers)}
    return keys


def _fingerprint(tables: Mapping[str, pd.DataFrame]) -> list[int]:
    """Of all cells, so that the random numbers depend on what only the study has."""
    digest = hashlib.sha256()
    for name in sorted(tables):
        digest.update(name.encode() + tables[name].to_csv(index=False).encode())
    return list(digest.digest())


def _study_text(plan: Plan, twin: Twin) -> str:
    import yaml

    written = {
        "study": {
            "id": f"{plan.study_id}_twin",
            "title": f"Made-up copy: {plan.title}",
            "question": plan.question,
        },
        "purpose": list(plan.purpose),
        "tables": {name: [f"{name}.csv"] for name in twin.tables},
        "plan": relabelled_plan(plan.as_written["plan"], twin.labels),
        "extra_columns": plan.as_written["extra_columns"],
        "reading": {"not_applicable": [NOT_APPLICABLE] if plan.reading.not_applicable else []},
        "invalid_rows": "stop",
        "sharing": plan.as_written["sharing"],
    }
    plain = yaml.safe_load(yaml.safe_dump(_plain(written)))
    return HEAD + yaml.safe_dump(plain, sort_keys=False, allow_unicode=True, width=110)


def _plain(value):
    if isinstance(value, Mapping):
        return {key: _plain(entry) for key, entry in value.items()}
    return [_plain(entry) for entry in value] if isinstance(value, list | tuple) else value


def _note(plan: Plan, twin: Twin) -> str:
    from liftseries.twin.equality import compared

    names = [name for table in ("patients", "sites") for name in compared(plan.schema[table])]
    return NOTE.format(
        n_patients=len(twin.tables["patients"]),
        compared=", ".join(names),
        k=plan.smallest_cell,
        patients=twin.patients_redrawn,
        sites=twin.sites_redrawn,
    )
