"""Each check between rows or tables at its edge: true, and just not true."""

from __future__ import annotations

import pytest
from studies import added, cell, cells, write_study

from liftseries.intake.study import check_study
from liftseries.study.plan import read_plan


def rules(folder, changes) -> list[tuple[str, str, int]]:
    findings = check_study(read_plan(write_study(folder, changes)))[0].findings
    return list(findings[["rule", "table", "row"]].itertuples(index=False, name=None))


def visit(site: str, months: str, status: str) -> dict[str, str]:
    complication = "none" if status in ("functioning", "failed") else ""
    return {"site_id": site, "months": months, "status": status, "complication": complication}


def then(*visits: tuple[str, str, str]):
    return added(*(visit(*told) for told in visits))


# ── references and keys ───────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("table", "column", "known", "unknown"),
    [
        ("sites", "patient_id", "p3", "P1"),  # letter case is part of a pseudonym
        ("steps", "stop_id", "", "off-7"),  # without a stop
        ("steps", "instrument_id", "probe-13", "probe-12"),
        ("visits", "site_id", "s1", "s11"),
    ],
)
def test_references(tmp_path, table, column, known, unknown):
    changes = {table: cells((2, column, known), (3, column, unknown))}
    assert rules(tmp_path, changes) == [("reference_is_known", table, 3)]


def test_key_of_two_columns(tmp_path):
    """Same site at another month, and another site at the same month, are other visits."""
    assert rules(tmp_path / "a", {"visits": then(("s3", "6.5", "functioning"))}) == []
    assert rules(tmp_path / "b", {"visits": then(("s3", "6.0", "functioning"))}) == [("key_is_unique", "visits", 9)]


def test_key_twice_names_the_other_row_and_across_files_the_file(tmp_path):
    study = write_study(tmp_path)
    text = (study / "patients.csv").read_text()
    header, first, *rest = text.splitlines()
    (study / "patients.csv").write_text("\n".join([header, *rest]) + "\n")
    (study / "north.csv").write_text("\n".join([header, first, rest[0]]) + "\n")
    plan = (study / "study.yaml").read_text().replace("patients: patients.csv", "patients: [patients.csv, north.csv]")
    (study / "study.yaml").write_text(plan)
    (problem,) = check_study(read_plan(study))[1]
    assert problem.place == "north.csv"
    assert "1 row has the patient_id of a row in patients.csv (first: row 3, there row 2)" in problem.message


# ── the drilling log ──────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        # order in the file does not matter, numbers do
        (cells((2, "step_no", "3"), (3, "step_no", "1"), (4, "step_no", "2")), []),
        (cells((4, "step_no", "4")), [4]),
        (cells((2, "step_no", "2"), (3, "step_no", "3"), (4, "step_no", "4")), [2]),
        # two gaps are two faults
        (cells((3, "step_no", "3"), (4, "step_no", "5")), [3, 4]),
    ],
)
def test_steps_count_without_a_gap(tmp_path, changes, expected):
    assert rules(tmp_path, {"steps": changes}) == [("steps_have_no_gap", "steps", row) for row in expected]


def test_instruments_of_the_sites_own_approach(tmp_path):
    """A gauge too: its length counts from another point."""
    hand = {"instrument_id": "probe-hand", "role": "gauge", "approach": "freehand", "guide_shank_mm": ""}
    for approach, expected in (("freehand", []), ("guided", [("instrument_fits_the_site", "steps", 8)])):
        changes = {
            "instruments": added({**hand, "approach": approach}),
            "steps": cell(8, "instrument_id", "probe-hand"),
        }
        assert rules(tmp_path / approach, changes) == expected


@pytest.mark.parametrize(
    ("stop", "swallowed"),
    [
        # guided, 13 mm with the top of the guide 9 mm above the platform: the tip leaves the guide up to a stop of 22
        ({"marking_means": "length", "marking_mm": "13.5", "marked_on_length_mm": ""}, False),
        ({"marking_means": "length", "marking_mm": "21.99", "marked_on_length_mm": ""}, False),
        ({"marking_means": "length", "marking_mm": "22", "marked_on_length_mm": ""}, True),
        # a depth stop is marked_on_length - marking long: 24 - 2.01 and 24 - 2
        ({"marking_means": "depth", "marking_mm": "2.01", "marked_on_length_mm": "24"}, False),
        ({"marking_means": "depth", "marking_mm": "2", "marked_on_length_mm": "24"}, True),
    ],
)
def test_stop_that_swallows_a_guided_drill(tmp_path, stop, swallowed):
    changes = {"stops": added({"stop_id": "long", **stop}), "steps": cell(5, "stop_id", "long")}
    expected = [("stop_is_shorter_than_the_instrument", "steps", 5)] if swallowed else []
    assert rules(tmp_path, changes) == expected


@pytest.mark.parametrize(("marking", "swallowed"), [("11.99", False), ("12", True), ("12.01", True)])
def test_stop_that_swallows_a_freehand_drill(tmp_path, marking, swallowed):
    """Freehand, 12 mm: nothing but the drill's own length; the last row stands without a stop."""
    long = {"stop_id": "long", "marking_means": "length", "marking_mm": marking, "marked_on_length_mm": ""}
    changes = {"stops": added(long), "steps": cell(7, "stop_id", "long")}
    expected = [("stop_is_shorter_than_the_instrument", "steps", 7)] if swallowed else []
    assert rules(tmp_path, changes) == expected


@pytest.mark.parametrize(
    ("row", "marking", "told"),
    [
        (5, "13", ["a pass that ends at the crest"]),  # 13 - 13 at a platform on the crest
        (5, "13.5", ["a pass that ends 0.5 mm above the crest"]),
        (5, "12.99", []),
        (2, "13.5", ["a pass that ends at the crest"]),  # its platform lies 0.5 mm deep
        (2, "13.4", []),
        (3, "13.5", ["a pass that ends at the crest"]),  # a gauge with a stop is set to a depth, too
        (7, "11.99", []),
    ],
)
def test_a_pass_that_ends_at_or_above_the_crest_is_told_and_no_row_refused(tmp_path, row, marking, told):
    long = {"stop_id": "long", "marking_means": "length", "marking_mm": marking, "marked_on_length_mm": ""}
    plan = read_plan(write_study(tmp_path, {"stops": added(long), "steps": cell(row, "stop_id", "long")}))
    intake, problems = check_study(plan)
    assert problems == []
    decisions = intake.decisions[intake.decisions["rule"].eq("pass_above_the_crest")]
    assert decisions["stood"].tolist() == told
    assert decisions["row"].tolist() == [row] * len(told)


@pytest.mark.parametrize("unreadable", ["stops", "instruments"])
def test_stop_of_unknown_length_is_not_judged(tmp_path, unreadable):
    column, row = {"stops": ("marking_mm", 3), "instruments": ("length_mm", 2)}[unreadable]
    assert [found[1:] for found in rules(tmp_path, {unreadable: cell(row, column, "long")})] == [(unreadable, row)]


# ── a site's life ─────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("visits", "rule", "rows"),
    [
        # s1 failed at 25.5 months (row 4)
        ([("s1", "25.4", "functioning")], "", []),
        ([("s1", "25.6", "functioning")], "no_life_after_failure", [9]),
        ([("s1", "30", "failed")], "", []),
        ([("s1", "30", "not_examined"), ("s1", "40", "patient_died")], "", []),
        # works after a failure and after a death: told once
        ([("s1", "28", "patient_died"), ("s1", "30", "functioning")], "no_life_after_death", [10]),
        # one wrong failure makes all that follow look wrong: told once
        ([("s1", "30", "functioning"), ("s1", "42", "functioning")], "no_life_after_failure", [9]),
        # s2's patient died at 14 months (row 6)
        ([("s2", "13.9", "functioning")], "", []),
        ([("s2", "20", "not_examined")], "", []),
        ([("s2", "14.1", "functioning")], "no_life_after_death", [9]),
        ([("s2", "14.1", "failed")], "no_life_after_death", [9]),
        ([("s2", "15", "patient_died")], "one_death_a_patient", [9]),
    ],
)
def test_life_after_failure_and_death(tmp_path, visits, rule, rows):
    assert rules(tmp_path, {"visits": then(*visits)}) == [(rule, "visits", row) for row in rows]


# ── a patient's death, told at several sites ──────────────────────────────────────────────────────

# s2 and s3 are of one patient and of 2019, and s2 tells of a death at 14 months: it fell between 2019 + 14/12 and a
# year later, so a death at s3 agrees with it from more than 2 to less than 26 months.
SAME_DAY = {"sites": cell(4, "placement", "same_day")}
NO_VISITS_OF_S3 = {"visits": lambda visits: visits[visits["site_id"] != "s3"].reset_index(drop=True)}


def of_s3(*visits):
    return {"visits": lambda table: then(*(("s3", *told) for told in visits))(NO_VISITS_OF_S3["visits"](table))}


@pytest.mark.parametrize(
    ("months", "agrees"), [("2", False), ("2.1", True), ("14", True), ("25.9", True), ("26", False)]
)
def test_two_deaths_must_be_able_to_be_one(tmp_path, months, agrees):
    expected = [] if agrees else [("one_death_a_patient", "visits", 7)]
    assert rules(tmp_path, {**SAME_DAY, **of_s3((months, "patient_died"))}) == expected


@pytest.mark.parametrize(("year", "agrees"), [("2020", True), ("2021", False), ("2018", False)])
def test_years_of_surgery_count_too(tmp_path, year, agrees):
    """s3's death at 3 months of 2020 fell in 2020.25 to 2021.25, which meets s2's 2020.17 to 2021.17."""
    sites = cells((4, "placement", "same_day"), (4, "surgery_year", year))
    expected = [] if agrees else [("one_death_a_patient", "visits", 7)]
    assert rules(tmp_path, {"sites": sites, **of_s3(("3", "patient_died"))}) == expected


@pytest.mark.parametrize("status", ["functioning", "failed"])
@pytest.mark.parametrize(("months", "possible"), [("25.9", True), ("26", False)])
def test_nobody_is_seen_at_another_site_certainly_after_the_death(tmp_path, status, months, possible):
    expected = [] if possible else [("no_life_after_death", "visits", 7)]
    assert rules(tmp_path, {**SAME_DAY, **of_s3((months, status))}) == expected


def test_not_examined_after_the_death_is_no_life(tmp_path):
    assert rules(tmp_path, {**SAME_DAY, **of_s3(("40", "not_examined"))}) == []


def test_deaths_of_two_patients_do_not_meet(tmp_path):
    """s1 and s2 are of two patients."""
    assert rules(tmp_path, {"visits": then(("s1", "99", "patient_died"))}) == []


def test_staged_placement_leaves_the_date_open(tmp_path):
    """s3 was staged: its months count from a later day that nobody knows, so only its earliest date is sure."""
    assert rules(tmp_path / "a", of_s3(("0.5", "patient_died"))) == []
    assert rules(tmp_path / "b", of_s3(("26", "patient_died"))) == [("one_death_a_patient", "visits", 7)]
    assert rules(tmp_path / "c", of_s3(("26", "functioning"))) == [("no_life_after_death", "visits", 7)]


def test_death_in_doubt_is_not_held_against_other_sites(tmp_path):
    """Two deaths at s2 are one fault; which one is right, and whether s3 agrees, can't be told."""
    changes = {**SAME_DAY, "visits": then(("s2", "90", "patient_died"), ("s3", "40", "functioning"))}
    assert rules(tmp_path, changes) == [("one_death_a_patient", "visits", 9)]


def test_faulty_year_of_surgery_suspends_the_comparison(tmp_path):
    sites = cells((4, "placement", "same_day"), (4, "surgery_year", "19"))
    assert rules(tmp_path, {"sites": sites, **of_s3(("99", "patient_died"))}) == [("value_is_in_range", "sites", 4)]
