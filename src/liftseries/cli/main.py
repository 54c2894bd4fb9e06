"""The command line: thin doors onto the package and onto Snakemake.

Exit status: 0 done, 1 the study has problems, 2 the command was used wrongly, 3 a fault of liftseries itself.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from liftseries import __version__
from liftseries.base.errors import Problem, StudyError, UsageError, fault
from liftseries.study.plan import Plan, read_plan
from liftseries.study.plan_files import CORRECTIONS_FILE, PLAN_FILE, READ_FROM

if TYPE_CHECKING:
    from liftseries.intake.study import Intake

CAUTION = (
    "For research and audit. Not a medical device, no advice for a patient in the chair: "
    "local codes and licensed clinical judgement come first."
)
OURS = "This is a fault of liftseries, not of the study. Please report the lines above."


def main(arguments: list[str] | None = None) -> int:
    """Runs one command; see `liftseries --help`."""
    options = _parser().parse_args(arguments)
    os.environ[READ_FROM] = os.pathsep.join(map(str, getattr(options, "read_from", ())))  # for every job of a run
    try:
        return options.door(options)
    except StudyError as error:
        for problem in error.problems:
            print(problem, file=sys.stderr)
        return 1
    except UsageError as error:
        print(f"liftseries: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("Interrupted. Run the same command again to go on.", file=sys.stderr)
        return 130
    except Exception as error:
        print(fault(error), end="", file=sys.stderr)
        print(OURS, file=sys.stderr)
        return 3


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="liftseries",
        description="Outcomes of crestal sinus floor lifts with implants: a study folder in, a report out.",
        epilog=CAUTION,
    )
    parser.add_argument("--version", action="version", version=f"liftseries {__version__}")
    doors = parser.add_subparsers(required=True, metavar="COMMAND")

    run = doors.add_parser("run", help="check, recompute, model and report", epilog=CAUTION)
    _add_study(run)
    run.add_argument("--cores", type=_count, default=os.cpu_count() or 1, help="jobs side by side (default: all)")
    run.add_argument("--force", action="store_true", help="do everything again, changed or not")
    run.set_defaults(door=_run)

    check = doors.add_parser("check", help="list every problem of the study's tables", epilog=CAUTION)
    _add_study(check)
    workbook = check.add_mutually_exclusive_group()
    workbook.add_argument(
        "--corrections", type=Path, metavar="FILE.xlsx",
        help="write the refused rows to a new workbook, for those who typed them to correct",
    )  # fmt: skip
    workbook.add_argument(
        "--apply", type=Path, metavar="FILE.xlsx",
        help="take the corrected workbook over into corrections.csv, then check; the tables stay as they are",
    )  # fmt: skip
    check.add_argument(
        "--decisions", type=Path, metavar="FILE.csv",
        help="write how each cell was taken that is not simply what it shows, and by which rule",
    )  # fmt: skip
    check.set_defaults(door=_check)

    leave = doors.add_parser(
        "release", help="make release/: what of a finished run may leave the house", epilog=CAUTION
    )
    _add_study(leave)
    leave.add_argument(
        "--rows", action="store_true", help="coarsened rows of patients too; more counts of the report are withheld"
    )
    leave.set_defaults(door=_release)

    new = doors.add_parser("new", help="make a folder to start a study from", epilog=CAUTION)
    new.add_argument("study", metavar="STUDY", type=Path, help="the folder to make; must be empty or not yet there")
    new.add_argument("--workbook", action="store_true", help="one workbook to type into, instead of a CSV a table")
    new.add_argument(
        "--columns-of", metavar="OTHER", help="take over extra_columns of another study's folder or study.yaml"
    )
    new.set_defaults(door=_new)

    twin = doors.add_parser("twin", help="make a synthetic twin of a study: made-up patients, to share", epilog=CAUTION)
    _add_study(twin)
    twin.add_argument("folder", metavar="FOLDER", type=Path, help="the folder to make; must be empty or not yet there")
    twin.add_argument("--seed", type=_count, metavar="N", help="where random numbers start (default: the plan's seed)")
    twin.set_defaults(door=_twin)

    hide = doors.add_parser(
        "pseudonymise",
        help="a centre's tables to tables without identifiers and dates",
        description="Patients, sites and operators get keyed pseudonyms: blanks and letter case do not matter, leading "
        "zeros do. Dates become months since placement (days / 30.4375), the year of surgery and the age then; columns "
        "of names, addresses and the like go. Centres that share a key must not share running numbers.",
        epilog=CAUTION,
    )
    hide.add_argument("source", metavar="IN", type=Path, help="a folder of tables, or one file; stays as it is")
    hide.add_argument("target", metavar="OUT", type=Path, help="the folder to make; must be empty or not yet there")
    hide.add_argument("--key", type=Path, required=True, metavar="FILE", help="the key file, kept apart from tables")
    hide.add_argument("--new-key", action="store_true", help="make the key file, for its owner alone to read")
    hide.add_argument("--dates", choices=["day-first", "month-first", "iso"], help="how dates were typed")
    for what, does in (
        ("keep", "keep a column that is not known, once you have looked at all of it"),
        ("drop", "leave a column out"),
        ("replace", "replace the texts of another column by pseudonyms too, such as centre"),
    ):
        hide.add_argument(f"--{what}", action="append", default=[], metavar="COLUMN", help=f"{does}; may be repeated")
    hide.set_defaults(door=_pseudonymise)

    ladder = doors.add_parser(
        "ladder", help="print the planned ladder with the study's own instruments and stops", epilog=CAUTION
    )
    _add_study(ladder)
    ladder.add_argument("--rbh-min", type=_mm, required=True, metavar="MM", help="lowest residual bone height")
    ladder.add_argument("--rbh-max", type=_mm, required=True, metavar="MM", help="highest residual bone height")
    ladder.add_argument("--approach", choices=["guided", "freehand"], help="default: each that has instruments")
    ladder.add_argument("--platform", type=float, default=0.0, metavar="MM", help="planned platform below the crest")
    ladder.add_argument("--guide-offset", type=_mm, metavar="MM", help="planned platform to the top of the guide")
    ladder.add_argument("--soft-tissue", type=_mm, metavar="MM", help="mucosa over the crest")
    ladder.set_defaults(door=_ladder)

    size = doors.add_parser("size", help="how many patients the next study needs", epilog=CAUTION)
    _add_study(size)
    size.add_argument(
        "--within", type=_positive, required=True, metavar="X",
        help="half of the 95 %% interval: of the rate in percentage points, of a term in log odds",
    )  # fmt: skip
    size.add_argument(
        "--of", default="rate", metavar="TERM",
        help="a term of the perforation model such as approach[guided] (default: the perforation rate)",
    )  # fmt: skip
    size.add_argument("--simulations", type=_count, default=1000, metavar="N", help="studies simulated (default: 1000)")
    size.add_argument("--cores", type=_count, default=os.cpu_count() or 1, help="processes (default: all)")
    size.set_defaults(door=_size)
    return parser


def _add_study(door: argparse.ArgumentParser) -> None:
    door.add_argument("study", metavar="STUDY", help="the study folder, or its study.yaml")
    door.add_argument(
        "--read-from", type=_folder, action="append", default=[], metavar="FOLDER",
        help="absolute path of a folder outside the study's that study.yaml may name tables in; may stand repeatedly",
    )  # fmt: skip


def _folder(text: str) -> Path:
    path = Path(text)
    if not (path.is_absolute() and path.is_dir()):
        raise argparse.ArgumentTypeError("the absolute path of a folder is needed")
    return path


def _count(text: str) -> int:
    number = int(text)
    if number < 1:
        raise argparse.ArgumentTypeError("at least 1 is needed")
    return number


def _mm(text: str) -> float:
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        raise argparse.ArgumentTypeError("a number of millimetres is needed") from None
    if not 0 <= number <= 40:
        raise argparse.ArgumentTypeError("between 0 and 40 mm is needed")
    return number


def _positive(text: str) -> float:
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        raise argparse.ArgumentTypeError("a number is needed") from None
    if not 0 < number < 100:
        raise argparse.ArgumentTypeError("above 0 and below 100 is needed")
    return number


def _plan(study: str) -> Plan:
    path = Path(study)
    if not (path if path.suffix in (".yaml", ".yml") else path / PLAN_FILE).is_file():
        raise UsageError(f"{study} holds no {PLAN_FILE}. Make a folder with `liftseries new`, or name another.")
    return read_plan(path)


def _run(options: argparse.Namespace) -> int:
    from liftseries.engine.run import RunFailed, run, took, what_to_look_at

    started = time.monotonic()
    plan = _plan(options.study)
    try:
        changed = run(plan, options.cores, options.force)
    except RunFailed as error:
        print(error, file=sys.stderr)
        print(OURS, file=sys.stderr)
        return 3
    print(f"Done in {took(started)}." if changed else "Nothing has changed since the last run.")
    print("\n".join(what_to_look_at(plan)))
    return 0


def _check(options: argparse.Namespace) -> int:
    from liftseries.intake.set_aside import LEFT_OUT
    from liftseries.intake.study import check_study

    plan = _plan(options.study)
    if options.corrections:
        from liftseries.intake.books.correction_book import check_may_be_written

        check_may_be_written(plan, options.corrections)
    not_taken = _applied(plan, options.apply) if options.apply else []
    intake, problems = check_study(plan)
    for problem in [*not_taken, *problems]:
        print(problem, file=sys.stderr)
    _tell_decisions(plan, intake, options.decisions)
    if problems or not_taken:
        print(f"{_counted(len(problems), 'problem')} found.", file=sys.stderr)
        if options.corrections:
            _write_corrections(plan, options.corrections)
        return 1
    for table, counts in intake.counts.groupby("table", sort=False):
        files = f"{len(counts)} files" if len(counts) > 1 else "1 file"
        left_out = (intake.set_aside[["table", "rule"]] == [table, LEFT_OUT]).all(axis="columns").sum()
        without = f", {left_out} of them left out" if left_out else ""
        print(f"{table}: {counts['read'].sum()} rows from {files}{without}")
    print("No problem found.")
    return 0


def _tell_decisions(plan: Plan, intake: Intake, path: Path | None) -> None:
    """How many cells were not taken for what they show, what looks ten times too small, what may be confirmed."""
    from liftseries.intake.cells.words import as_yaml
    from liftseries.intake.checks.tenfold import RULE as TENFOLD
    from liftseries.intake.told.decisions import write_decisions

    if path:
        write_decisions(plan, intake.decisions, path)
    told = intake.decisions[intake.decisions["rule"] == TENFOLD]
    for decision in told.itertuples():
        print(f"{decision.place}: {decision.stood}: {decision.taken_for}.")
    if n := len(intake.decisions):
        where = f"listed in {path}" if path else "--decisions FILE.csv lists them"
        print(f"{_counted(n, 'decision')} on what is not simply what it shows; {where}.")
    if intake.proposed_reading:
        print("If these words mean what they seem to, add to study.yaml, under `reading` if it is there already:\n")
        print(as_yaml(intake.proposed_reading))


def _applied(plan: Plan, path: Path) -> list[Problem]:
    """Takes a correction workbook over and tells how much; gives what could not be taken."""
    from liftseries.intake.books.returned_book import apply_book

    applied = apply_book(plan, path)
    print(
        f"{_counted(applied.n_cells, 'cell')} corrected and {_counted(applied.n_left_out, 'row')} left out, "
        f"in {CORRECTIONS_FILE}; {_counted(len(applied.refused), 'entry', 'entries')} not taken."
    )
    return applied.refused


def _write_corrections(plan: Plan, path: Path) -> None:
    from liftseries.intake.books.correction_book import write_correction_book

    found = write_correction_book(plan, path)
    if not found.n_rows:
        print("No row can be corrected in a workbook, so none was written.")
        return
    print(f"{_counted(found.n_rows, 'row')} to correct in {path}, which holds patients' rows: keep it in the house.")
    if found.elsewhere:
        print(f"{_counted(len(found.elsewhere), 'problem')} cannot be corrected there; its first sheet lists them.")


def _counted(n: int, word: str, words: str = "") -> str:
    return f"{n} {word if n == 1 else words or f'{word}s'}"


def _release(options: argparse.Namespace) -> int:
    from liftseries.release.bundle import release

    released = release(_plan(options.study), options.rows)
    print(f"The bundle: {released.folder}")
    if options.rows and not released.with_rows:
        print("No rows are in it: they are too few, or counts of few patients could be worked out with them.")
    print(f"{released.n_withheld} of {_counted(released.n_counts, 'count')} withheld; its report says why.")
    return 0


def _new(options: argparse.Namespace) -> int:
    from liftseries.forms.templates import new_study

    extra_columns = _plan(options.columns_of).extra_columns if options.columns_of else None
    new_study(options.study, options.workbook, extra_columns)
    print(f"Made {options.study}. Fill in its tables, then `liftseries check {options.study}`.")
    return 0


def _twin(options: argparse.Namespace) -> int:
    from liftseries.twin.folder import NOTE_FILE, make_twin

    twin = make_twin(_plan(options.study), options.folder, options.seed)
    made = " and ".join(_counted(len(twin.tables[f"{name}s"]), name) for name in ("patient", "site"))
    print(f"Made {options.folder}: {made}, none of them real.")
    again = f"{_counted(twin.patients_redrawn, 'patient')} and {_counted(twin.sites_redrawn, 'site')}"
    print(f"Drawn again for being too close to a real record: {again}. {NOTE_FILE} says what a twin is not.")
    return 0


def _pseudonymise(options: argparse.Namespace) -> int:
    from liftseries.pseudonyms.folder import LOG, Wishes, check_folders, pseudonymise
    from liftseries.pseudonyms.key import check_place, new_key, read_key, write_key

    check_folders(options.source, options.target)
    home = options.source if options.source.is_dir() else options.source.parent
    check_place(options.key, home, options.target)
    if options.new_key:
        write_key(options.key, new_key())
        print(f"Made {options.key}. Keep a copy: without it nobody can tell the pseudonyms back or make them again.")
    named = options.keep, options.drop, options.replace
    names = (frozenset(name.strip().lower() for name in group) for group in named)
    log = pseudonymise(options.source, options.target, read_key(options.key), Wishes(options.dates, *names))
    n_tables = _counted(log["file"].nunique(), "table")
    print(f"Made {options.target}: {n_tables}; {LOG} tells what was done to each column.")
    return 0


def _ladder(options: argparse.Namespace) -> int:
    from liftseries.intake.study import read_drills
    from liftseries.planning.ladder import ladder_text

    if options.rbh_min > options.rbh_max or options.rbh_min == 0:
        raise UsageError("--rbh-min must be above 0 and not above --rbh-max. Were the two swapped?")
    plan = _plan(options.study)
    instruments, stops = read_drills(plan)
    approaches = [options.approach] if options.approach else list(dict.fromkeys(instruments["approach"]))
    for approach in approaches:
        print(
            ladder_text(
                instruments,
                stops,
                approach,
                rbh_min_mm=options.rbh_min,
                rbh_max_mm=options.rbh_max,
                platform_depth_mm=options.platform,
                margin_mm=plan.first_depth_margin_mm[approach],
                step_mm=plan.step_mm,
                guide_offset_mm=options.guide_offset,
                soft_tissue_mm=options.soft_tissue,
            )
        )
    print(CAUTION)
    return 0


def _size(options: argparse.Namespace) -> int:
    from concurrent.futures import ProcessPoolExecutor

    import liftseries.engine.job  # noqa: F401, one thread for linear algebra: set before numpy is imported
    from liftseries.base.progress import Bar
    from liftseries.estimators.intervals import NotFitted
    from liftseries.planning.cases import read_cases
    from liftseries.planning.sample_size import RATE, at_rate, sample_size, simulated_from
    from liftseries.planning.sample_size_text import sample_size_text

    plan = _plan(options.study)
    within = options.within / 100 if options.of == RATE else options.within
    cases = read_cases(plan)
    try:
        study = simulated_from(cases, options.of, plan.perforation_terms)
        with Bar("Simulating studies") as bar, ProcessPoolExecutor(options.cores) as pool:
            how = plan.seed, options.simulations, pool.map if options.cores > 1 else map, bar
            answer = sample_size(study, within, *how)
            others = []
            for rate in study.rate_interval:
                try:
                    others.append(sample_size(at_rate(study, rate), within, *how))
                except NotFitted:
                    others.append(None)
    except NotFitted as why:
        raise StudyError([Problem(f"size of {options.of}", str(why))]) from None
    print(sample_size_text(options.of, within, study, answer, others))
    print(CAUTION)
    return 0
