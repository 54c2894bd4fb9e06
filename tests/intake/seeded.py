"""One study with a fault of every kind, each on a row (and where it matters a site or patient) of its own.

What is seeded here, place and rule, is what must be found: in every format, and nothing more.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd
from studies import Tables, tables

from liftseries.intake.files.grid import letters

# What a row holds where nothing else is said; {} becomes a number of its own.
SOUND = {
    "patients": "q{} north 54 female never no no",
    "instruments": "i{} widening guided 3.4 13 8",
    "stops": "t{} 8 length -",
    "steps": "s1 1 wide-13 off-9 4.5 600 closed",
    "visits": "s1 6 functioning 9 0.4 none",
}

# What stands in one cell of an otherwise sound row: table, column, what is typed, rule.
CELL_FAULTS = [
    ("patients", "centre", "", "value_is_given"),
    ("patients", "age_years", "", "value_is_given"),
    ("patients", "age_years", "fifty", "value_is_a_whole_number"),
    ("patients", "age_years", "54.5", "value_is_a_whole_number"),
    ("patients", "age_years", "15", "value_is_in_range"),
    ("patients", "age_years", "111", "value_is_in_range"),
    ("patients", "sex", "neither", "value_is_a_level"),
    ("patients", "smoking", "sometimes", "value_is_a_level"),
    ("patients", "diabetes", "NA", "missing_word_is_confirmed"),
    ("patients", "patient_id", "p1", "key_is_unique"),
    ("sites", "patient_id", "nobody", "reference_is_known"),
    ("sites", "operator", "", "value_is_given"),
    ("sites", "operator_case_no", "0", "value_is_in_range"),
    ("sites", "surgery_year", "20190304", "value_is_in_range"),
    ("sites", "tooth", "13", "value_is_a_level"),
    ("sites", "tooth", "3.6", "value_is_a_whole_number"),
    ("sites", "tooth", "01.06.2024", "tooth_is_no_date"),
    ("sites", "tooth", "55", "tooth_is_permanent"),
    ("sites", "tooth", "C", "tooth_is_permanent"),
    ("sites", "approach", "by hand", "value_is_a_level"),
    ("sites", "rbh_min_mm", "0", "value_is_in_range"),
    ("sites", "rbh_min_mm", "n/a", "value_is_given"),
    ("sites", "rbh_min_mm", "0.52 cm", "unit_is_the_columns"),
    ("sites", "rbh_min_mm", "low", "value_is_a_number"),
    ("sites", "soft_tissue_mm", "-", "missing_word_is_confirmed"),
    ("sites", "torque_ncm", "1,200", "decimal_mark_is_clear"),
    ("sites", "protocol", "@A1", "text_is_no_formula"),
    ("sites", "perforation", "ja", "value_is_a_level"),
    ("sites", "rbh_min_mm", "1e999", "value_is_finite"),
    ("sites", "rbh_max_mm", "20.5", "value_is_in_range"),
    ("sites", "rbh_max_mm", "1.234,5", "value_is_a_number"),
    ("sites", "rbh_min_mm", "19", "lowest_is_not_above_highest"),
    ("sites", "soft_tissue_mm", "-1", "value_is_in_range"),
    ("sites", "implant_diameter_mm", "2.4", "value_is_in_range"),
    ("sites", "implant_length_mm", "21", "value_is_in_range"),
    ("sites", "platform_depth_mm", "", "value_is_given"),
    ("sites", "guide_offset_mm", "", "value_is_given_where_needed"),
    ("sites", "septum", "perhaps", "value_is_a_level"),
    ("sites", "graft", "", "value_is_given"),
    ("sites", "perforation", "torn", "value_is_a_level"),
    ("sites", "perforation_stage", "later", "value_is_a_level"),
    ("sites", "bone_quality", "5", "value_is_a_level"),
    ("sites", "isq", "101", "value_is_in_range"),
    ("sites", "placement", "never", "value_is_a_level"),
    ("sites", "healing", "", "value_is_given_where_needed"),
    ("sites", "site_id", "s1", "key_is_unique"),
    ("instruments", "role", "", "value_is_given"),
    ("instruments", "approach", "both", "value_is_a_level"),
    ("instruments", "length_mm", "0", "value_is_in_range"),
    ("instruments", "diameter_mm", "-2", "value_is_in_range"),
    ("instruments", "guide_shank_mm", "", "value_is_given_where_needed"),
    ("instruments", "instrument_id", "probe-13", "key_is_unique"),
    ("stops", "marking_mm", "eight", "value_is_a_number"),
    ("stops", "marking_mm", "-1", "value_is_in_range"),
    ("stops", "marking_means", "", "value_is_given"),
    ("stops", "marked_on_length_mm", "13", "value_is_absent_where_not_allowed"),
]
# The same on a pass, a visit: each at a site of its own, as a bad row casts doubt on the site's others.
ROWS_OF_SITES = [
    ("steps", "instrument_id", "", "value_is_given"),
    ("steps", "instrument_id", "nothing", "reference_is_known"),
    ("steps", "instrument_id", "hand-12", "instrument_fits_the_site"),
    ("steps", "stop_id", "nothing", "reference_is_known"),
    ("steps", "stop_id", "off-22", "stop_is_shorter_than_the_instrument"),
    ("steps", "step_no", "0", "value_is_in_range"),
    ("steps", "step_no", "2", "steps_have_no_gap"),
    ("steps", "intended_depth_mm", "deep", "value_is_a_number"),
    ("steps", "speed_rpm", "-1", "value_is_in_range"),
    ("steps", "finding", "felt", "value_is_a_level"),
    ("visits", "months", "-1", "value_is_in_range"),
    ("visits", "months", "", "value_is_given"),
    ("visits", "status", "fine", "value_is_a_level"),
    ("visits", "bone_height_mm", "0", "value_is_in_range"),
    ("visits", "complication", "", "value_is_given_where_needed"),
    ("visits", "complication", "pain", "value_is_a_level"),
]


@dataclass
class Seeded:
    """The tables, and where which rule must be broken: (table, row, column, rule)."""

    tables: Tables = field(default_factory=tables)
    faults: set[tuple[str, int, str, str]] = field(default_factory=set)

    def add(self, table: str, column: str = "", rule: str = "", **cells: str) -> str:
        """A row, sound but for what is given; under `rule` it is a seeded fault. Gives its key."""
        frame, row = self.tables[table], len(self.tables[table])
        if table == "sites":
            sound = {**frame.iloc[0], "site_id": f"u{row}"}
        else:
            words = SOUND[table].format(row).split()
            sound = dict(zip(frame.columns, ("" if word == "-" else word for word in words), strict=True))
        self.tables[table] = pd.concat([frame, pd.DataFrame([{**sound, **cells}])], ignore_index=True).fillna("")
        if rule:
            self.faults.add((table, row + 2, column, rule))
        return {**sound, **cells}[frame.columns[0]]

    def site(self, **cells: str) -> str:
        """A sound site of a patient of its own, unless one is given."""
        return self.add("sites", **{"patient_id": cells.get("patient_id") or self.add("patients"), **cells})

    def visits(self, site: str, *visits: tuple[str, str], rule: str = "") -> None:
        """Visits (months, status) of a site; the last of them breaks the rule, if any."""
        for number, (months, status) in enumerate(visits, start=1):
            complication = "none" if status in ("functioning", "failed") else ""
            broken = {"column": "status", "rule": rule} if rule and number == len(visits) else {}
            self.add("visits", site_id=site, months=months, status=status, complication=complication, **broken)

    def places(self, ending: str) -> set[tuple[str, str]]:
        """The (place, rule) of every fault, as a user is told in files of that kind."""
        return {(self._place(ending, table, row, column), rule) for table, row, column, rule in self.faults}

    def _place(self, ending: str, table: str, row: int, column: str) -> str:
        if ending != "xlsx":
            return f"{table}.{ending}, row {row}, {column}"
        letter = letters(list(self.tables[table].columns).index(column))
        return f"study.xlsx, sheet {table}, cell {letter}{row}, {column}"


def seeded() -> Seeded:
    """The study with all faults."""
    study = Seeded()
    for column in ("perforation_stage", "bone_quality", "isq"):
        study.tables["sites"][column] = ""
    study.add("stops", stop_id="off-22", marking_mm="22")
    for table, column, typed, rule in CELL_FAULTS:
        study.add(table, column, rule, **{column: typed})
    for table, column, typed, rule in ROWS_OF_SITES:
        study.add(table, column, rule, **{"site_id": study.site(), column: typed})
    freehand = {"approach": "freehand", "site_id": "hand"}
    study.add("sites", "guide_offset_mm", "value_is_absent_where_not_allowed", **freehand)
    study.add("instruments", "guide_shank_mm", "value_is_absent_where_not_allowed", approach="freehand")
    study.add("stops", "marked_on_length_mm", "value_is_given_where_needed", marking_means="depth")
    beyond = {"marking_means": "depth", "marking_mm": "14", "marked_on_length_mm": "13"}
    study.add("stops", "marking_mm", "marked_depth_is_within_the_instrument", **beyond)
    _seed_logs(study)
    _seed_lives(study)
    # Last, for a row of no known site casts doubt on a gap that it stands in.
    study.add("steps", "site_id", "reference_is_known", site_id="nowhere")
    study.add("visits", "site_id", "reference_is_known", site_id="nowhere")
    return study


def _seed_logs(study: Seeded) -> None:
    gap, twice = study.site(), study.site()
    for step in ("1", "2"):
        study.add("steps", site_id=gap, step_no=step)
        study.add("steps", site_id=twice, step_no=step)
    study.add("steps", "step_no", "steps_have_no_gap", site_id=gap, step_no="4")
    study.add("steps", "step_no", "key_is_unique", site_id=twice, step_no="2")


def _seed_lives(study: Seeded) -> None:
    study.add("visits", "months", "key_is_unique", site_id="s3", months="6")
    study.visits(study.site(), ("6", "failed"), ("12", "functioning"), rule="no_life_after_failure")
    study.visits(study.site(), ("6", "patient_died"), ("12", "failed"), rule="no_life_after_death")
    study.visits(study.site(), ("6", "patient_died"), ("12", "patient_died"), rule="one_death_a_patient")
    for status, rule in (("patient_died", "one_death_a_patient"), ("functioning", "no_life_after_death")):
        patient = study.add("patients")
        one, other = study.site(patient_id=patient), study.site(patient_id=patient)
        study.visits(one, ("6", "patient_died"))
        study.visits(other, ("18", status), rule=rule)
