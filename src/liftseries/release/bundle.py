"""The bundle `release/`: what of a finished run may leave the house.

    report.html, report.pdf    the report with what tells of few patients withheld, and its supplement
    results.csv                the estimates, likewise; its last column names what was withheld in a row
    tables/, figures/          of that report
    told.csv                   each count that it tells, its set by a symbol, and each number told roundly: the next
                               release is attacked with it
    coarsened/                 patients and sites so coarse that rows may leave with it, where they may; advice.csv
                               says which columns were made coarser
    release.json               by what rule how much was withheld, and of which run; no value

It is made from the run's own tables by the report's own code, beside the output folder and never inside it.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from liftseries.base.errors import Problem, StudyError
from liftseries.base.outputs import remake_folder, write_csv, write_text
from liftseries.base.progress import step
from liftseries.base.reading import sha256
from liftseries.disclosure.declared import MEDIAN_NEEDS, QUARTILES_NEED
from liftseries.engine.provenance import MANIFEST, versions
from liftseries.engine.run import alone_in
from liftseries.engine.standing import is_up_to_date
from liftseries.release.answers import with_answers
from liftseries.release.before import RECORD as RECORD_OF_COUNTS
from liftseries.release.before import read_before, told_before
from liftseries.release.before import record as record_release
from liftseries.release.changed_counts import out_already
from liftseries.release.check import attacked
from liftseries.release.coarse import with_coarse
from liftseries.release.figures import draw_figures
from liftseries.release.masking import Masked, mask, withheld_columns
from liftseries.release.population import read_population
from liftseries.release.recorded import check_read_back, check_record, told_counts
from liftseries.release.rows import advice_of, can_be_counted, rows_of
from liftseries.report.kit.declarations import KeptIn, Purpose
from liftseries.report.kit.material import Withheld, read_material, with_figures
from liftseries.report.kit.writer import write
from liftseries.report.languages.say import words_that_leave
from liftseries.report.pages.report_files import write_all
from liftseries.report.purposes import purpose
from liftseries.study.plan import Plan

FOLDER, RECORD = "release", "release.json"
MOST_NAMED = 5  # places where a number that cannot be hidden is seen
TOLD = ("counts", "counts_withheld", "numbers_withheld")  # of `Masked.withheld`, in the report's own chapter


@dataclass(frozen=True)
class Released:
    """The bundle.

    Attributes
    ----------
    folder : where it lies
    n_counts, n_withheld : how many counts the report in the house has, and how many of them were withheld
    with_rows : whether coarsened rows are in it
    n_out : how many counts of fewer than k patients earlier releases have told, or given away
    out_in : where these are seen
    """

    folder: Path
    n_counts: int
    n_withheld: int
    with_rows: bool
    n_out: int = 0
    out_in: Sequence[str] = ()


def release(plan: Plan, with_rows: bool = False, *, first: bool = False, lower_cell: bool = False) -> Released:
    """Makes the bundle anew.

    Parameters
    ----------
    plan
    with_rows : whether coarsened rows leave too, where the counts of few patients can be hidden all the same
        More counts of the report are withheld then, for all that can be counted in rows is known.
    first : nothing has left the house, though a bundle lies there and its record does not
    lower_cell : whether k may be lower than that of an earlier release

    Raises
    ------
    StudyError
        There is no finished run of the study as it stands, `release/` is no bundle, or numbers of few patients could
        be worked out whatever is withheld.
    """
    folder = plan.folder / FOLDER
    _check_place(plan, folder)
    if not plan.output.is_dir():
        raise _not_run(plan)
    with alone_in(plan.output):
        if not is_up_to_date(plan.folder, plan.output):
            raise _not_run(plan)
        step("Reading the run")
        whole = read_material(plan.output, plan.as_written, versions())
        population = read_population(plan.output, plan)
        checked = {name: pd.read_parquet(plan.output / f"checked/{name}.parquet") for name in ("patients", "sites")}
        rows = rows_of(checked, plan.schema, plan.smallest_cell)
        rows_leave = with_rows and can_be_counted(rows)
        run = sha256(plan.output / MANIFEST)
        before_this = told_before(plan.folder)
        check_record(plan, before_this, run, with_rows, first=first, lower_cell=lower_cell)
        before = read_before(plan.folder, population, run)
        step("Withholding counts of few patients, which takes minutes where many are")
        masked = mask(whole, population, plan.smallest_cell, rows if rows_leave else None, before)
        if rows_leave and (masked.tells_no_count or attacked(masked, plan.smallest_cell).recovered):
            rows_leave = False
            masked = mask(whole, population, plan.smallest_cell, before=before)
        masked = with_answers(with_coarse(masked, plan.smallest_cell), plan.smallest_cell)
        step("Trying to work out what is withheld")
        check_protected(plan, masked)
        counts_told, house = told_counts(masked, plan.smallest_cell, run, with_rows)
        if before_this.empty and not first:
            check_read_back(plan, counts_told)
        record = _record(plan, masked, rows_leave)
    with remake_folder(folder) as room:
        _write(room, masked, plan.smallest_cell, rows_leave)
        write_csv(room / RECORD_OF_COUNTS, counts_told)
        write_csv(room / "coarsened/advice.csv", advice_of(rows))
        for name, table in rows.tables.items() if rows_leave else ():
            write_csv(room / f"coarsened/{name}.csv", table)
        record["files"] = {
            str(path.relative_to(room)): sha256(path) for path in sorted(room.rglob("*")) if path.is_file()
        }
        write_text(room / RECORD, json.dumps(record, indent=2, ensure_ascii=False) + "\n")
    if run not in set(before_this["run"]):
        record_release(plan.folder, counts_told, house, population)
    return _released(folder, masked, plan.smallest_cell, rows_leave)


def _released(folder: Path, masked: Masked, smallest_cell: int, rows_leave: bool) -> Released:
    told, out = masked.withheld, out_already(masked.ledger, smallest_cell)
    out_in = sorted({table for name in out for table in masked.ledger.seen_in[name]})
    return Released(folder, int(told["counts"].sum()), int(told["counts_withheld"].sum()), rows_leave, len(out), out_in)


def _check_place(plan: Plan, folder: Path) -> None:
    """A folder of the study's own is never replaced, and a bundle never lies in the outputs or round them."""
    output = plan.output.resolve()
    if output == folder.resolve() or output.is_relative_to(folder.resolve()):
        message = f"lies where the release is made. Name another folder than {FOLDER} in study.yaml."
        raise StudyError([Problem("study.yaml, output", message)])
    if folder.exists() and not (folder / RECORD).is_file() and (folder.is_file() or any(folder.iterdir())):
        message = f"holds no {RECORD}, so it is no bundle of ours and is left alone. Move it away or rename it."
        raise StudyError([Problem(str(folder), message)])


def _not_run(plan: Plan) -> StudyError:
    why = "has changed since its last finished run" if (plan.output / MANIFEST).is_file() else "has no finished run"
    return StudyError([Problem(str(plan.folder), f"{why}. Run `liftseries run {plan.folder}` first.")])


def check_protected(plan: Plan, masked: Masked) -> None:
    """Nothing is released as long as a number of few patients could be worked out."""
    if open_ones := attacked(masked, plan.smallest_cell).recovered:
        where = sorted({name.rpartition(" | ")[2] for name in open_ones})
        message = (
            f"{len(open_ones)} number{'s' if len(open_ones) > 1 else ''} of fewer than {plan.smallest_cell} patients "
            "could be worked out whatever is withheld, so nothing is released. Take terms or groups out of the plan, "
            f"or pool the series with others. Seen in: {'; '.join(where[:MOST_NAMED])}"
            f"{' and others' if len(where) > MOST_NAMED else ''}."
        )
        raise StudyError([Problem(str(plan.folder), message)])


def _write(room: Path, masked: Masked, smallest_cell: int, rows_leave: bool) -> None:
    told = masked.withheld
    withheld = Withheld(
        smallest_cell,
        MEDIAN_NEEDS * smallest_cell,
        QUARTILES_NEED * smallest_cell,
        *(int(told[name].sum()) for name in TOLD),
        rows_leave,
        after_others=masked.ledger.before is not None,
    )
    for report in reports_of(masked.material.plan["purpose"]):
        with tempfile.TemporaryDirectory() as drawn, words_that_leave():
            step(f"Drawing the figures of {report.name}")
            draw_figures(report.figures, masked.material, Path(drawn))
            material = with_figures(replace(masked.material, withheld=withheld), [Path(drawn)])
            step(f"Writing the pages of {report.name}")
            written = write(report, material)
            write_all(written, [Path(drawn)], room / report.folder)
    write_csv(room / "results.csv", released_results(masked.material.results, masked.whole.results))


def reports_of(names: Iterable[str]) -> list[Purpose]:
    """The reports of a study that may leave the house."""
    return [report for report in map(purpose, names) if report.may_be_released]


def figures_left_out(names: Iterable[str]) -> list[str]:
    """The figures of these reports that stay in the house, in their order."""
    figures = (figure for report in reports_of(names) for figure in report.figures)
    return list(dict.fromkeys(figure.name for figure in figures if isinstance(figure.released, KeptIn)))


def released_results(masked: pd.DataFrame, whole: pd.DataFrame) -> pd.DataFrame:
    """results.csv with empty cells where something was withheld, and a last column that says of which columns."""
    withheld = withheld_columns(masked, whole)
    counts = [column for column in masked if column.startswith("n_")]
    blank = {column: masked[column].mask(masked[column].lt(0)).astype("Int64") for column in counts}
    return masked.assign(**blank, withheld=withheld)


def _record(plan: Plan, masked: Masked, rows_leave: bool) -> dict:
    """The content of release.json.

    Of the run it has the hash of manifest.json alone. The hash of a results.csv would let somebody try values until
    one fits; a manifest holds the hashes of all tables, so that nobody without them can make it.
    """
    protection = masked.protection
    return {
        "study": plan.study_id,
        "smallest_cell": plan.smallest_cell,
        "rule": "no count of 1 to smallest_cell - 1 patients is printed or can be worked out from what is",
        "run": {"manifest_sha256": sha256(plan.output / MANIFEST)},
        "versions": versions(),
        "counts": {
            "different": len(masked.ledger.entries),
            "withheld_small": len(masked.ledger.withheld(protection.suppressed)),
            "withheld_to_hide_those": len(
                masked.ledger.withheld(protection.complementary) - masked.ledger.withheld(protection.suppressed)
            ),
        },
        "tables": masked.withheld.set_index("table").to_dict("index"),
        "figures_left_out": figures_left_out(plan.purpose),
        "not_in_the_bundle": [
            "clean/",
            "derived/",
            "models/",
            *([] if rows_leave else ["coarsened rows"]),
            "set_aside.csv",
            "decisions.csv",
            "oddities.csv",
            "hashes of inputs",
            "names of files",
        ],
    }
