"""The plan: study.yaml read, checked and typed, defaults filled in. A wrong plan stops here with all its problems."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args, get_origin, get_type_hints

from liftseries.base.errors import Problem, StudyError
from liftseries.base.file_names import safe_name
from liftseries.study.file_readings import own_readings, readings_of
from liftseries.study.indicators import OWN_FILE
from liftseries.study.plan_content import content_problems
from liftseries.study.plan_files import (
    CENTRE,
    CENTRES,
    CORRECTIONS_FILE,
    PLAN_FILE,
    Source,
    files_read,
    labels_read,
    load_written,
    source_of,
)
from liftseries.study.plan_shape import plan_schema, shape_problems, with_defaults, with_stages
from liftseries.study.reading import Reading, reading_of, words_as_text
from liftseries.study.schema import Table, audit_schema, read_schema

SECTIONS = ("study", "plan", "extra_columns", "reading", "files", "sharing")


@dataclass(frozen=True)
class Plan:
    """study.yaml, typed. Units stand in the names; see schemas/plan.yaml for what each key means.

    A key of the section `plan` is a field here of the same name; its annotation says what it is turned into.
    """

    folder: Path
    study_id: str
    title: str
    question: str
    data_until: str  # a month, 2025-06; empty where the tables imply it
    purpose: tuple[str, ...]
    tables: Mapping[str, tuple[Source, ...]]  # that are read: see `files_read`
    first_depth_margin_mm: Mapping[str, float]
    step_mm: float
    depth_tolerance_mm: float
    speed_limit_rpm: float
    lift_base_radius_mm: float
    rbh_bands_mm: tuple[float, ...]
    lift_bands_mm: tuple[float, ...]
    survival_months: tuple[float, ...]
    perforation_terms: tuple[str, ...]
    survival_terms: tuple[str, ...]
    gain_terms: tuple[str, ...]
    landmark_months: float
    risk_contrasts: Mapping[str, list[Any]]
    imputation: Mapping[str, Any]
    comparison: Mapping[str, Any]
    audit: Mapping[str, Any]
    resamples: int
    seed: int
    extra_columns: Mapping[str, Mapping[str, Mapping]]
    reading: Reading  # of all files
    readings: Mapping[str, Reading]  # of each file, by its label
    accepted_oddities: tuple[Mapping[str, Any], ...]
    invalid_rows: str
    smallest_cell: int
    output: Path
    as_written: Mapping[str, Any]  # with every default filled in, for the manifest
    centre: str = ""  # the one centre whose rows are read; empty: all

    @property
    def schema(self) -> dict[str, Table]:
        """The tables with the study's own columns."""
        return read_schema(self.extra_columns)

    @property
    def every_schema(self) -> dict[str, Table]:
        """The tables of `schema` and those of the audit's cycle."""
        return {**self.schema, **audit_schema(self.audit["by"], tuple(self.audit["own_indicators"]))}

    @property
    def patient_columns(self) -> list[str]:
        """The columns of the table `patients`, the study's own among them."""
        return list(self.schema["patients"].columns)

    def has(self, table: str) -> bool:
        """Whether the table has any file; those of the audit's cycle have one for an audit alone."""
        return table in self.tables

    def files(self, *tables: str) -> list[Path]:
        """The files that are there, of the tables or of all, with what is said of them; intake tells of the others."""
        named = tables or tuple(self.tables)
        paths = [source.path for table in named for source in self.tables.get(table, ())]
        paths += [] if tables or "audit" not in self.purpose else [self.folder / OWN_FILE]
        said = [self.folder / entry for entry in self.as_written["files"].values() if isinstance(entry, str)]
        return [path for path in dict.fromkeys([*paths, self.folder / CORRECTIONS_FILE, *said]) if path.is_file()]


def read_plan(study: Path | str) -> Plan:
    """The plan of a study folder, or of the study.yaml itself.

    Raises
    ------
    StudyError
        With every problem of the file.
    """
    path = Path(study)
    path = (path / PLAN_FILE if path.is_dir() else path).absolute()
    written = _normalised(load_written(path, path.name, "start one with `liftseries new`"))
    own, problems = own_readings(written.get("files"), path.parent)
    problems = [*shape_problems(written), *problems]
    if problems:
        raise StudyError(problems)
    filled = with_stages(with_defaults(written, plan_schema()))
    centre = os.environ.get(CENTRE, "")
    if centre:
        filled = _of_one_centre(filled, centre)
    _fill_own_indicators(filled, path.parent)
    problems = list(content_problems(filled, path.parent, own))
    if problems:
        raise StudyError(problems)
    return _plan(filled, path.parent, own)


def _of_one_centre(filled: dict[str, Any], centre: str) -> dict[str, Any]:
    """The same for one centre: its name in the title, its own output folder; no audit, which compares units."""
    purpose = [name for name in filled["purpose"] if name != "audit"] or ["publication"]
    title = f"{filled['study']['title']}: {centre}"
    output = f"{filled['output']}/{CENTRES}/{safe_name(centre)}"
    study = {**filled["study"], "title": title}
    return {**filled, "purpose": purpose, "study": study, "output": output, "centre": centre}


def _fill_own_indicators(filled: dict[str, Any], study: Path) -> None:
    """What indicators.yaml says, for an audit alone, becomes `plan.audit.own_indicators`."""
    path = study / OWN_FILE
    if "audit" not in filled["purpose"] or not path.is_file():
        return
    written = load_written(path, OWN_FILE, "write one, or take it away")
    own = written.get("indicators")
    if not isinstance(own, dict) or len(written) > 1:
        raise StudyError([Problem(OWN_FILE, "holds `indicators:` and nothing else, each below it by its name.")])
    if filled["plan"]["audit"]["own_indicators"]:
        message = f"the indicators stand here and in {OWN_FILE}. Keep them in one place."
        raise StudyError([Problem(f"{PLAN_FILE}, plan, audit, own_indicators", message)])
    filled["plan"]["audit"]["own_indicators"] = own


def _normalised(written: dict[str, Any]) -> dict[str, Any]:
    """One word where a list may stand becomes a list of one; an empty section becomes an empty mapping."""
    written = {key: {} if value is None and key in SECTIONS else value for key, value in written.items()}
    if isinstance(written.get("purpose"), str):
        written["purpose"] = [written["purpose"]]
    if isinstance(written.get("tables"), dict):
        written["tables"] = {
            table: [files] if isinstance(files, str) else files for table, files in written["tables"].items()
        }
    if isinstance(written.get("reading"), dict):
        written["reading"] = words_as_text(written["reading"])
    return written


def _typed(value: Any, as_: Any) -> Any:
    """A value of study.yaml as its field of `Plan` is annotated: numbers, lists as tuples, the rest as it is."""
    if as_ in (float, int):
        return as_(value)
    if get_origin(as_) is tuple:
        return tuple(_typed(entry, get_args(as_)[0]) for entry in value)
    if get_origin(as_) is Mapping:
        return {key: _typed(entry, get_args(as_)[1]) for key, entry in value.items()}
    return value


def _plan(filled: dict[str, Any], study: Path, own_reading: Mapping[str, Mapping]) -> Plan:
    own, annotated = filled["study"], get_type_hints(Plan)
    labels = labels_read(filled, study)
    return Plan(
        folder=study,
        study_id=own["id"],
        title=own["title"],
        question=own["question"],
        data_until=own["data_until"],
        purpose=tuple(filled["purpose"]),
        tables={
            table: tuple(source_of(label, study) for label in labels)
            for table, labels in files_read(filled, study).items()
        },
        # A key of `plan` is the field of that name; one that has no field is a fault of ours and stops here.
        **{key: _typed(value, annotated[key]) for key, value in filled["plan"].items()},
        extra_columns=filled["extra_columns"],
        reading=reading_of(filled["reading"]),
        readings=readings_of(filled, own_reading, labels),
        accepted_oddities=tuple(filled["accepted_oddities"]),
        invalid_rows=filled["invalid_rows"],
        smallest_cell=filled["sharing"]["smallest_cell"],
        output=study / filled["output"],
        as_written={**filled, "read_as": dict(own_reading)},
        centre=filled.get("centre", ""),
    )
