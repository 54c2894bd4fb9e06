"""The jobs that every run has, whatever is asked: check, derive, join, follow up; collecting results, the manifest."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd

from liftseries.base.outputs import write_csv, write_parquet, write_text
from liftseries.engine.job import Job


def check_tables(job: Job) -> None:
    """Study folder -> checked tables, counts of rows, rows set aside, decisions."""
    from liftseries.intake.study import empty_table, read_study
    from liftseries.study.plan import read_plan

    plan = read_plan(job.params.study)
    intake = read_study(plan)
    for name, table in plan.schema.items():
        write_parquet(getattr(job.outputs, name), intake.tables.get(name, empty_table(table)))
    write_csv(job.outputs.counts, intake.counts)
    site_id = intake.tables["sites"]["site_id"]
    write_parquet(job.outputs.not_applicable, intake.not_applicable["sites"].assign(site_id=site_id))
    write_csv(job.outputs.set_aside, intake.set_aside)
    write_csv(job.outputs.decisions, intake.decisions)


def derive_depths(job: Job) -> None:
    """Checked tables -> derived/steps.csv, derived/sites.csv, cases for the drawing of ladders."""
    from liftseries.geometry.derived import centre_of_sites, derive
    from liftseries.geometry.examples import ladder_cases
    from liftseries.geometry.limits import Limits

    tables = {name: pd.read_parquet(path) for name, path in vars(job.inputs).items()}
    limits = Limits(**job.params.limits)
    centre = centre_of_sites(tables["sites"], tables.pop("patients"))
    steps, sites = derive(**tables, limits=limits, centre=centre)
    write_csv(job.outputs.steps, steps)
    write_csv(job.outputs.sites, sites)
    cases = ladder_cases(tables["sites"], sites, steps, tables["instruments"], tables["stops"], limits)
    write_csv(job.outputs.ladder_cases, cases)


def join_cases(job: Job) -> None:
    """Patients, sites and derived depths -> one row a site."""
    from liftseries.models.shared.cases import cases

    patients, sites = pd.read_parquet(job.inputs.patients), pd.read_parquet(job.inputs.sites)
    # A site may be called 12, 007 or NA: its name stays as it was written.
    texts = dict.fromkeys(("site_id", "plan_problem", "ended"), str)
    derived = pd.read_csv(job.inputs.derived, dtype=texts, keep_default_na=False, na_values=[""])
    bands = job.params.rbh_bands_mm, job.params.lift_bands_mm
    write_parquet(job.outputs.cases, cases(patients, sites, derived, *bands))


def follow_up(job: Job) -> None:
    """Cases and visits -> one row an implant, and the sites that are not followed."""
    from liftseries.models.shared.follow_up import follow_up as followed_up

    followed = followed_up(pd.read_parquet(job.inputs.visits), pd.read_parquet(job.inputs.cases))
    write_parquet(job.outputs.implants, followed.implants)
    write_csv(job.outputs.left_out, followed.left_out("follow_up"))


def collect_results(job: Job) -> None:
    """The questions' estimates -> results.csv, letter for letter."""
    tables = [Path(path).read_text(encoding="utf-8").split("\n", maxsplit=1) for path in job.inputs.estimates]
    (header,) = {first for first, _ in tables}
    write_text(job.outputs.results, "\n".join([header, "".join(rows for _, rows in tables)]))


def write_manifest(job: Job) -> None:
    """Inputs, outputs, plan and versions -> manifest.json."""
    from liftseries.engine.provenance import manifest
    from liftseries.study.plan import read_plan

    found = manifest(read_plan(job.params.study), job.inputs.outputs)
    write_text(job.outputs.manifest, json.dumps(found, indent=2, ensure_ascii=False) + "\n")
