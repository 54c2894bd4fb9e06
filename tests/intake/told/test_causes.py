"""What is told of many cells, by cause: alike wordings are one, places are counted, a screen is a screen."""

from __future__ import annotations

import pytest
from seeded import seeded
from studies import added, cell, cells, write_study

from liftseries.intake.screens import screen_of
from liftseries.intake.study import check_study
from liftseries.intake.told.causes import Item, causes_of, common_place, listed, parted
from liftseries.intake.told.decisions import Decision
from liftseries.intake.told.screen import decision_lines
from liftseries.study.plan import read_plan


def item(
    row: int, message: str = "7 is below 16. Correct the cell.", rule: str = "in_range", column: str = "age_years"
):
    return Item(rule, f"p.csv, row {row}, {column}", message, "patients", "p.csv", column)


def test_message_parts_at_the_end_of_its_first_sentence():
    assert parted("0.5 is below 1.5; it is meant in mm. Correct the cell. Or not.") == (
        "0.5 is below 1.5; it is meant in mm.",
        "Correct the cell. Or not.",
    )
    assert parted("depends on row 3, which is set aside.") == ("depends on row 3, which is set aside.", "")


def test_wordings_that_differ_in_numbers_are_one_and_other_columns_are_not():
    items = [item(n, f"{n} is below 16. Correct the cell.") for n in range(2, 9)]
    one, other = causes_of([*items, item(2, column="isq"), item(9, "a text where a number is due. Correct the cell.")])
    assert (one.count, other.count) == (8, 1)
    assert [variant.count for variant in one.variants] == [7, 1]
    assert one.variants[0].words == "2 … 8 is below 16"
    assert one.variants[0].places == [f"p.csv, row {row}, age_years" for row in range(2, 7)]


def test_a_range_is_told_only_where_nothing_else_differs():
    """`5 … 19 of the 5 sites` would be no range of anything."""
    (one,) = causes_of(item(n, f"{n} of the {of} sites have it.") for n, of in ((5, 5), (19, 19), (7, 9)))
    assert one.variants[0].words == "such as: 5 of the 5 sites have it"
    (alike,) = causes_of(item(n, f"{n} of the 20 sites have it.") for n in (5, 19))
    assert alike.variants[0].words == "5 … 19 of the 20 sites have it"


def test_a_decision_of_many_cells_is_counted_once_and_its_places_once():
    decided = [
        Decision("sites", "a.csv", None, "", "a.csv", f"{n} times: a row of another table", "no row", "only_rows", n)
        for n in (386, 83)
    ]
    (cause,) = causes_of(decided, by=("rule",))
    assert decision_lines([cause])[1].strip() == "469 × a row of another table: no row [only_rows]: a.csv"


def test_items_of_one_rule_may_be_one_cause():
    (cause,) = causes_of([item(2), item(3, column="isq")], by=("rule",))
    assert (cause.count, cause.column, cause.table) == (2, "", "")


@pytest.mark.parametrize(
    ("places", "shared", "left"),
    [
        (["a.csv, row 2, x", "a.csv, row 9, x"], "a.csv, x", ["row 2", "row 9"]),
        (["a.csv, row 2, x"], "a.csv, row 2, x", [""]),
        (["a.csv, row 2, x", "b.csv, row 2, x"], "row 2, x", ["a.csv", "b.csv"]),
        (["a.csv, row 1", "a.csv, row 1"], "a.csv, row 1", ["", ""]),
    ],
)
def test_places_share_what_they_share(places, shared, left):
    assert common_place(places) == (shared, left)


def test_spots_are_listed_and_the_rest_is_counted():
    assert listed(["row 2", "row 5"], 2) == "rows 2, 5"
    assert listed(["row 2", "cell C7"], 9) == "row 2, cell C7 and 7 more"
    assert listed(["", ""], 4) == ""


# ── of a study ────────────────────────────────────────────────────────────────────────────────────


def lines_of(folder) -> list[str]:
    plan = read_plan(folder)
    intake, _ = check_study(plan)
    return screen_of(plan, intake, intake.causes).splitlines()


def test_every_problem_is_in_a_cause_and_has_a_remedy(tmp_path):
    intake, problems = check_study(read_plan(write_study(tmp_path, seeded().tables)))
    assert sum(cause.count for cause in intake.causes) == len(problems)
    assert all(variant.remedy for cause in intake.causes for variant in cause.variants)


def test_what_does_not_fit_a_screen_is_counted(tmp_path):
    lines = lines_of(write_study(tmp_path, seeded().tables))
    intake, problems = check_study(read_plan(tmp_path))
    assert len(lines) <= 60
    assert lines[0].startswith(f"{len(problems)} problems of {len(intake.causes)} causes")
    shown = sum(line[:1].isdigit() for line in lines[1:])
    (rest,) = (line for line in lines if line.startswith("…"))
    assert f"{len(intake.causes) - shown} more causes" in rest


def test_most_blocking_goes_first(tmp_path):
    changes = {
        "patients": cell(2, "age_years", "7"),
        "sites": cells((2, "patient_id", "nobody"), (3, "site_id", "s1"), (4, "remark", "x")),
        "stops": lambda table: table,
    }
    folder = write_study(tmp_path, changes)
    (folder / "stops.csv").unlink()
    rules = [cause.rule for cause in check_study(read_plan(folder))[0].causes]
    assert rules[:2] == ["file_is_there", "column_is_known"]
    assert rules.index("key_is_unique") < rules.index("reference_is_known") < rules.index("value_is_in_range")


def test_text_of_a_cell_is_never_told(tmp_path):
    word = "quernstone"
    changes = {
        "sites": cells((2, "septum", word), (3, "tooth", word), (4, "rbh_min_mm", word), (2, "patient_id", word))
    }
    assert word not in "\n".join(lines_of(write_study(tmp_path, changes)))


@pytest.mark.parametrize("typed", ["05. Apr", "4-Jun", "Mai 7", "5. Juni"])
def test_day_and_month_is_told_where_a_number_or_a_text_is_due(tmp_path, typed):
    changes = {"sites": cells((2, "rbh_min_mm", typed), (3, "protocol", typed))}
    told = [str(problem) for problem in check_study(read_plan(write_study(tmp_path, changes)))[1]]
    assert all("a day and a month where a" in line for line in told)
    assert len(told) == 2
    assert typed not in "\n".join(told)


@pytest.mark.parametrize("label", ["March", "A-5", "May", "Method 5", "Juniper 3 b"])
def test_label_that_is_no_day_is_taken(tmp_path, label):
    assert check_study(read_plan(write_study(tmp_path, {"sites": cell(2, "protocol", label)})))[1] == []


def test_unlike_words_are_not_offered(tmp_path):
    from liftseries.base.errors import did_you_mean, nearest

    known = ("rbh_min_mm", "marginal_bone_mm", "age_years", "torque_ncm", "protocol")
    assert did_you_mean("remark", known) == did_you_mean("mm", known) == did_you_mean("", known) == ""
    assert nearest("torque", known) == "torque_ncm"
    assert nearest("rbh_mim_mm", known) == "rbh_min_mm"


def test_rows_go_to_the_centre_of_their_patient(tmp_path):
    changes = {
        "patients": cell(2, "age_years", "7"),
        "sites": cells((5, "tooth", "11"), (3, "patient_id", "nobody")),
        "visits": added({"site_id": "s1", "months": "-1", "status": "functioning", "complication": "none"}),
    }
    intake, _ = check_study(read_plan(write_study(tmp_path, changes)))
    centres = dict(zip(intake.findings["place"], intake.centres, strict=True))
    assert centres == {
        "patients.csv, row 2, age_years": "north",
        "sites.csv, row 3, patient_id": "",
        "sites.csv, row 5, tooth": "south",
        "visits.csv, row 9, months": "north",
    }


def test_centre_that_may_be_a_person_names_no_sheet(tmp_path):
    changes = {"patients": lambda table: table.assign(centre="quern@example.org", age_years="7")}
    assert set(check_study(read_plan(write_study(tmp_path, changes)))[0].centres) == {""}
