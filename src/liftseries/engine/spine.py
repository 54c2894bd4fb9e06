"""The jobs that every run has, whatever is asked: check, derive, join, follow up; collecting results, the manifest."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pandas as pd

from liftseries.base.outputs import remake_folder, write_csv, write_parquet, write_text
from liftseries.base.reading import reading_once, sha256
from liftseries.base.tables import read_table
from liftseries.engine.job import Job
from liftseries.study.input_hashes import check_as_begun, check_plan, check_read, input_hashes
from liftseries.study.plan import Plan, read_plan

NO_MONTH = "0000"  # a year by ISO 8601, where the tables tell of none


def check_tables(job: Job) -> None:
    """Study folder -> checked tables, where their rows stand, counts, rows set aside, decisions, corrections."""
    from liftseries.intake.draft.corrected_cells import counts_of_corrected
    from liftseries.intake.study import empty_table, read_study

    with _inputs_as_begun(job) as plan:
        intake = read_study(plan)
    for name, table in plan.schema.items():
        write_parquet(getattr(job.outputs, name), intake.tables.get(name, empty_table(table)))
    write_csv(job.outputs.counts, intake.counts)
    site_id = intake.tables["sites"]["site_id"]
    write_parquet(job.outputs.not_applicable, intake.not_applicable["sites"].assign(site_id=site_id))
    write_csv(job.outputs.set_aside, intake.set_aside)
    write_csv(job.outputs.decisions, intake.decisions)
    write_csv(job.outputs.corrected, counts_of_corrected(intake.corrected))
    write_csv(job.outputs.filled_cells, intake.filled)
    places = [place.assign(table=name) for name, place in intake.places.items()]
    write_parquet(job.outputs.places, pd.concat(places, ignore_index=True))


def find_oddities(job: Job) -> None:
    """Checked tables, where their rows stand -> oddities.csv; of those at a site also rule, site, accepted."""
    from liftseries.intake.oddities.listed import COLUMNS, list_oddities

    inputs = {name: pd.read_parquet(path) for name, path in vars(job.inputs).items()}
    rows = inputs.pop("places")
    places = {name: rows[rows["table"].eq(name)].reset_index(drop=True) for name in inputs}
    listed = list_oddities(inputs, places, *job.params.asked)
    write_csv(job.outputs.oddities, listed[[*COLUMNS]])
    write_csv(job.outputs.odd_sites, listed.loc[listed["site_id"].notna(), ["rule", "site_id", "accepted"]])


def check_audit_tables(job: Job) -> None:
    """Study folder, units of the checked tables -> the tables of an audit's cycle, empty where there are none."""
    from liftseries.intake.study import read_audit_tables

    patients, sites = pd.read_parquet(job.inputs.patients), pd.read_parquet(job.inputs.sites)
    with _inputs_as_begun(job) as plan:
        tables = read_audit_tables(plan, patients, sites)
    for name, table in tables.items():
        write_parquet(getattr(job.outputs, name), table)


def read_as_filed(job: Job) -> None:
    """Study folder -> one row a site as first filed, without corrections, and the corrected cells; both empty where
    nothing was corrected."""
    from liftseries.geometry.derived import centre_of_sites, derive
    from liftseries.geometry.limits import Limits
    from liftseries.intake.as_filed import read_as_filed as as_filed
    from liftseries.intake.study import empty_table
    from liftseries.models.shared.cases import cases

    corrected = pd.read_parquet(job.inputs.cases)
    with _inputs_as_begun(job) as plan:
        filed = as_filed(plan)
    write_csv(job.outputs.cells, filed.cells)
    if not filed.tables:
        write_parquet(job.outputs.cases, corrected.iloc[:0])
        return
    tables = {name: filed.tables.get(name, empty_table(table)) for name, table in plan.schema.items()}
    centre = centre_of_sites(tables["sites"], tables["patients"])
    drilled = {name: tables[name] for name in ("sites", "steps", "instruments", "stops")}
    _, derived = derive(**drilled, limits=Limits(**job.params.limits), centre=centre)
    bands = job.params.rbh_bands_mm, job.params.lift_bands_mm
    write_parquet(job.outputs.cases, cases(tables["patients"], tables["sites"], derived, *bands))


@contextmanager
def _inputs_as_begun(job: Job) -> Iterator[Plan]:
    """The plan; whatever is read of the study in the block are the bytes that the run began with.

    A changed file may well be a faulty one; then it is told that it changed.

    Raises
    ------
    StudyError
        The plan or a file that was read has changed since the run began.
    """
    with reading_once() as read:
        plan = read_plan(job.params.study)
        check_plan(plan, vars(job.params))
        try:
            yield plan
        finally:
            check_read(read, job.params.begun, plan.folder)


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
    """Cases and visits -> one row an implant, the sites that are not followed, derived/implants.csv and visits.csv."""
    from liftseries.models.shared.follow_up import follow_up as followed_up
    from liftseries.models.shared.follow_up import implants_table
    from liftseries.models.shared.outcomes import visits_table

    visits, cases = pd.read_parquet(job.inputs.visits), pd.read_parquet(job.inputs.cases)
    followed = followed_up(visits, cases)
    write_parquet(job.outputs.implants, followed.implants)
    write_csv(job.outputs.left_out, followed.left_out("follow_up"))
    write_csv(job.outputs.implants_table, implants_table(followed.implants))
    write_csv(job.outputs.visits_table, visits_table(visits, cases))


def write_clean(job: Job) -> None:
    """Checked tables -> clean/: each as CSV, the codebook of clean/, derived/ and results.csv, a Data Package."""
    from liftseries.forms.codebook import CODEBOOK, codebook, headers, in_file
    from liftseries.forms.data_package import as_json, data_package
    from liftseries.study.schema import read_schema

    schema = read_schema(job.params.extra_columns)
    with remake_folder(job.params.folder) as folder:
        files, packed = {}, {}
        for name in schema:
            table = pd.read_parquet(getattr(job.inputs, name))
            write_csv(folder / f"{name}.csv", table)
            files[f"clean/{name}.csv"], packed[name] = list(table), in_file(schema[name], table)
        derived = {path: headers(path) for path in job.inputs.derived}
        write_csv(folder / "codebook.csv", codebook(schema, files | derived))
        packed["codebook"] = CODEBOOK
        package = data_package(packed, {name: f"{name}.csv" for name in packed}, "clean")
        write_text(folder / "datapackage.json", as_json(package))


def write_models(job: Job) -> None:
    """What each fit left -> models/: formulas, covariances, the sites used, and scripts that refit.

    A model that the data do not ask for left no formula, and has no file. Where no purpose of the plan fits one that
    can be refitted, the folder stays empty.
    """
    from liftseries.base.home import folder as shipped
    from liftseries.models.files import work_file
    from liftseries.models.shared.follow_up import why_not_followed

    reasons = why_not_followed(pd.read_parquet(job.inputs.visits), pd.read_parquet(job.inputs.cases))
    with remake_folder(job.params.folder) as folder:
        if not job.params.models:
            return
        _stack([work_file(f"{name}.formula") for name in job.params.models], folder / "formula.csv")
        for name in read_table(folder / "formula.csv")["model"]:
            covariance = Path(work_file(f"{name}.covariance")).read_text(encoding="utf-8")
            write_text(folder / "covariance" / f"{name}.csv", covariance)
            write_csv(folder / "used" / f"{name}.csv", _used(read_table(work_file(f"{name}.used")), reasons))
        for script in ("refit.R", "refit.py"):
            write_text(folder / script, (shipped("reports") / script).read_text(encoding="utf-8"))


def _used(came_so_far: pd.DataFrame, reasons: pd.Series) -> pd.DataFrame:
    """Every site of the series; those that never came so far under the reason why they were not followed."""
    reasons = reasons.copy()
    reasons.update(pd.Series(came_so_far["why_not"].fillna("").to_numpy(object), index=came_so_far["site_id"]))
    return pd.DataFrame(
        {"site_id": reasons.index, "used": reasons.eq("").to_numpy(bool), "why_not": reasons.to_numpy()}
    )


def _stack(paths: Iterable[str], to: Path | str) -> None:
    """CSV files of one header one under another, letter for letter."""
    tables = [Path(path).read_text(encoding="utf-8").split("\n", maxsplit=1) for path in paths]
    (header,) = {first for first, _ in tables}
    write_text(to, "\n".join([header, "".join(rows for _, rows in tables)]))


def collect_results(job: Job) -> None:
    """The questions' estimates -> results.csv, letter for letter."""
    _stack(job.inputs.estimates, job.outputs.results)


def write_manifest(job: Job) -> None:
    """Inputs, outputs, plan and versions -> manifest.json, and the same as an RO-Crate.

    Raises
    ------
    StudyError
        An input is no longer what it was when the run began: there is no manifest of such a run.
    """
    from liftseries.engine.crate import crate
    from liftseries.engine.provenance import CRATE, as_json, manifest
    from liftseries.models.shared.due import closing_month, month_in_words

    plan = read_plan(job.params.study)
    check_as_begun(input_hashes(plan), job.params.begun)
    found = manifest(plan, job.params.begun, job.inputs.outputs, job.inputs.between)
    closed = closing_month(plan.data_until, pd.read_parquet(job.inputs.cases), pd.read_parquet(job.inputs.visits))
    write_text(job.outputs.crate, as_json(crate(found, Path("."), month_in_words(closed) or NO_MONTH)))
    found["outputs"][CRATE] = sha256(Path(job.outputs.crate))
    check_as_begun(input_hashes(plan), job.params.begun)
    write_text(job.outputs.manifest, as_json(found))
