"""A study folder's tables, read and checked in one pass; what `liftseries` runs on."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from liftseries.base.errors import Problem, StudyError
from liftseries.intake.cells.words import proposed_reading
from liftseries.intake.centres import centres_of
from liftseries.intake.corrections.lines import Corrections, read_corrections
from liftseries.intake.draft.corrected_cells import corrected_cells, lines_table
from liftseries.intake.draft.draft import NEVER_EMPTY, Draft
from liftseries.intake.draft.filled_cells import filled_cells
from liftseries.intake.draft.opened import stacked
from liftseries.intake.draft.stack import draft_table
from liftseries.intake.oddities.found import FoundOddity, with_places
from liftseries.intake.one_centre import narrowed
from liftseries.intake.only_files import is_named, only_of
from liftseries.intake.screens import screen_of
from liftseries.intake.told.decisions import Decision, decisions_table
from liftseries.intake.told.findings import Finding, Problems, as_problems, in_order, told_once
from liftseries.intake.told.intake import Intake
from liftseries.intake.told.screen import decisions_by_rule, problems_by_cause
from liftseries.study.plan import Plan
from liftseries.study.schema import AUDIT_TABLES, EVERY_TABLE, TABLES, Table


def read_study(plan: Plan, corrections: bool = True) -> Intake:
    """Every table of patients, sites and drills, typed and checked; not those of an audit's cycle.

    Parameters
    ----------
    plan
        Which files there are, the study's own columns, and what to do with invalid rows.
    corrections
        False: the tables as they were sent, whatever corrections.csv says.

    Returns
    -------
    Intake
        A table that the plan does not name is absent.

    Raises
    ------
    StudyError
        With every problem in file order. Under `invalid_rows: set_aside` only with those that are no row's
        fault, such as a missing file or an unknown column, unless no patient or site would be left.
    """
    intake, findings = _taken_in(plan, TABLES, corrections)
    if plan.invalid_rows == "set_aside":
        stopping = [finding for finding in findings if finding.stops_the_run]
        nothing_left = any(intake.tables[name].empty for name in NEVER_EMPTY)
        findings = findings if nothing_left else stopping
    if findings:
        raise StudyError(as_problems(findings), screen_of(plan, intake, problems_by_cause(findings)))
    return intake


def read_uncorrected(plan: Plan) -> dict[str, pd.DataFrame]:
    """The tables as first filed, corrections.csv ignored; rows that are refused without it are left out."""
    return _taken_in(plan, TABLES, corrected=False)[0].tables


def empty_table(table: Table) -> pd.DataFrame:
    """No rows, all columns typed: what stands in for a table that the study does not have."""
    return draft_table(table, ()).frame


def check_study(plan: Plan, only: Sequence[str] = (), corrections: bool = True) -> tuple[Intake, list[Problem]]:
    """The same pass, the audit's cycle too; the problems are given back, also under `set_aside`, nothing is raised.

    Parameters
    ----------
    plan
    only : files, as study.yaml names them: what is found in others is left out, and their tables where these have some
    corrections : False: the tables as they were sent

    Raises
    ------
    UsageError
        study.yaml names no such file.
    """
    if not only:
        intake, _ = _taken_in(plan, EVERY_TABLE, corrections)
        return intake, Problems(intake.found)
    intake, findings = _taken_in(only_of(plan, only), EVERY_TABLE, corrections)
    counts, decisions = (
        table[table["file"].map(lambda file: is_named(file, only)).astype(bool)]
        for table in (intake.counts, intake.decisions)
    )
    told = [finding for finding in findings if is_named(finding.file, only)]
    return (
        replace(
            intake,
            counts=counts,
            decisions=decisions,
            found=in_order(told),
            causes=problems_by_cause(told),
            decided=decisions_by_rule(Decision(*row) for row in decisions.itertuples(index=False, name=None)),
        ),
        as_problems(told),
    )


def oddities_of(plan: Plan, intake: Intake) -> list[FoundOddity]:
    """What is possible but odd among the rows kept, rule by rule; nothing follows from it."""
    from liftseries.intake.oddities.listed import list_oddities

    schema, nowhere = plan.schema, pd.DataFrame({"file": [], "row": []})
    tables = {name: intake.tables.get(name, empty_table(schema[name])) for name in schema}
    places = {name: intake.places.get(name, nowhere) for name in schema}
    asked = plan.data_until, plan.lift_base_radius_mm, plan.accepted_oddities
    return with_places(list_oddities(tables, places, *asked), intake.place_of)


def read_drills(plan: Plan) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Instruments and stops alone, for planning a ladder.

    Raises
    ------
    StudyError
        With every problem of the two tables, whatever `invalid_rows` says.
    """
    intake, findings = _taken_in(plan, ("instruments", "stops"))
    if findings:
        raise StudyError(as_problems(findings))
    return intake.tables["instruments"], intake.tables["stops"]


def read_audit_tables(plan: Plan, patients: pd.DataFrame, sites: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """The tables of an audit's cycle, empty where the study has none.

    No row of theirs is set aside, whatever `invalid_rows` says: an action or a reply must not vanish from the report.

    Parameters
    ----------
    plan
    patients, sites : checked; they hold the units

    Raises
    ------
    StudyError
        With every problem of the three tables.
    """
    from liftseries.intake.checks.audit_cycle import units_of

    units = units_of(plan, {"patients": patients, "sites": sites})
    drafts = checked_drafts(plan, read_corrections(plan), AUDIT_TABLES, units)
    if findings := told_once(finding for draft in drafts.values() for finding in draft.findings):
        raise StudyError(as_problems(findings))
    schema = plan.every_schema
    kept = {name: _kept_in_order(draft, np.zeros(len(draft), dtype=bool)) for name, draft in drafts.items()}
    read = {name: draft.frame.iloc[kept[name]].reset_index(drop=True) for name, draft in drafts.items()}
    return {name: read[name] if name in read else empty_table(schema[name]) for name in AUDIT_TABLES}


def checked_drafts(
    plan: Plan, corrections: Corrections, names: Iterable[str] = EVERY_TABLE, units: frozenset[str] | None = None
) -> dict[str, Draft]:
    """The tables that the plan names, read, corrected and checked, with all that was found in them.

    `units` are those of an audit where the tables that hold them are not read along.
    """
    from liftseries.intake.checks.across import check_across
    from liftseries.intake.checks.applicability import mark_not_applicable
    from liftseries.intake.checks.audit_cycle import check_audit_cycle, units_of_drafts
    from liftseries.intake.checks.identifiers import screen_draft, tell_file_names
    from liftseries.intake.checks.rows import check_rows
    from liftseries.intake.checks.tenfold import propose_tenfold

    drafts = stacked(plan, corrections, names)
    for draft in drafts.values():
        _check_filled(draft)
        screen_draft(draft, plan.readings)
        tell_file_names(draft)
        check_rows(draft)
    check_across(drafts)
    units = units_of_drafts(plan, drafts) if units is None else units
    check_audit_cycle(drafts, plan.audit["by"], units)
    for draft in drafts.values():
        mark_not_applicable(draft)
        propose_tenfold(draft)
    return drafts


def _taken_in(plan: Plan, names: Iterable[str], corrected: bool = True) -> tuple[Intake, list[Finding]]:
    from liftseries.intake.checks.identifiers import screen_words
    from liftseries.intake.set_aside import left_out, set_aside

    corrections = read_corrections(plan) if corrected else Corrections()
    drafts = checked_drafts(plan, corrections, names)
    gone, lines = set_aside(drafts)
    lines += left_out(drafts)
    findings = told_once(finding for draft in drafts.values() for finding in draft.findings)
    findings += corrections.findings + screen_words(plan)
    centre_of = centres_of(drafts)
    counted = (line for name, draft in drafts.items() for line in _counted(draft, gone[name]))
    counts = pd.DataFrame(counted, columns=["table", "file", "read", "kept", "set_aside"])
    decisions = [decision for draft in drafts.values() for decision in draft.decisions]
    kept = {name: _kept_in_order(draft, gone[name]) for name, draft in drafts.items()}
    intake = Intake(
        tables={name: draft.frame.iloc[kept[name]].reset_index(drop=True) for name, draft in drafts.items()},
        found=in_order(findings),
        lines=lines,
        counts=counts,
        decisions=decisions_table(decisions),
        not_applicable={
            name: pd.DataFrame({column: cells[kept[name]] for column, cells in draft.not_applicable.items()})
            for name, draft in drafts.items()
        },
        corrections=lines_table(drafts, corrections),
        corrected=corrected_cells(drafts),
        filled=filled_cells(drafts, kept),
        proposed_reading=proposed_reading(fault for draft in drafts.values() for fault in draft.faults),
        centre_of=centre_of,
        causes=problems_by_cause(findings),
        decided=decisions_by_rule(decisions),
        places={name: draft.places().iloc[kept[name]].reset_index(drop=True) for name, draft in drafts.items()},
        kept=kept,
        place_of=lambda name, row, column: drafts[name].cell_place(kept[name][row], column),
    )
    _prove_nothing_lost(intake, drafts, gone)
    return (narrowed(intake, lines, centre_of, plan.centre) if plan.centre else intake), findings


def _kept_in_order(draft: Draft, gone: np.ndarray) -> np.ndarray:
    """Positions of the rows kept, in the order of their keys: nothing may hang on how rows and files come.

    Texts in the order of their characters, of whichever language.
    """
    keys = draft.frame[list(draft.table.key)]
    keys = keys.assign(**{name: keys[name].astype(object) for name in keys if keys[name].dtype.name == "category"})
    order = keys.reset_index(drop=True).sort_values(list(keys), kind="stable").index.to_numpy()
    return order[~gone[order]]


def _check_filled(draft: Draft) -> None:
    """A file that could not be read is told of already."""
    if draft.lacks_rows and len(draft.sheets) == len(draft.sources):
        place = ", ".join(source.told for source in draft.sources)
        draft.find_in_file("table_holds_rows", 0, place, f"holds no rows. Enter {draft.table.means.lower()}")


def _counted(draft: Draft, gone: np.ndarray) -> Iterator[tuple[str, str, int, int, int]]:
    """Of each file its table, its name, and how many rows were read, kept and set aside."""
    n_files = len(draft.sources)
    kept, lost = (np.bincount(draft.file_no[rows], minlength=n_files).tolist() for rows in (~gone, gone))
    for file_no, source in enumerate(draft.sources):
        set_aside = lost[file_no] + sum(of_file == file_no for of_file, _, _ in draft.left_out)
        yield draft.table.name, source.told, kept[file_no] + set_aside, kept[file_no], set_aside


def _prove_nothing_lost(intake: Intake, drafts: Mapping[str, Draft], set_aside: Mapping[str, np.ndarray]) -> None:
    """Every row read is kept or listed as set aside; else the fault is ours and must not pass in silence."""
    listed: dict[str, set[tuple[str, int]]] = {name: set() for name in drafts}
    for line in intake.lines:
        listed[line.table].add((line.file, line.row))
    counts = intake.counts.groupby("table")[["read", "set_aside"]].sum()
    for name, draft in drafts.items():
        n_read, n_gone = counts.loc[name].tolist()
        read = sum(len(sheet.rows) for sheet in draft.as_filed.values())
        # A row of a file may be several of the table, see forms of reading.
        gone = {(draft.sources[file_no].told, int(row)) for file_no, row, _ in draft.left_out}
        labels = [source.told for source in draft.sources]
        gone |= {(labels[draft.file_no[at]], int(draft.rows[at])) for at in np.flatnonzero(set_aside[name])}
        kept = len(intake.tables[name])
        if not (read == n_read == kept + n_gone and len(listed[name]) == len(gone)):
            raise AssertionError(
                f"{name}: {read} rows read, {kept} kept, {n_gone} set aside, {len(listed[name])} listed"
            )
