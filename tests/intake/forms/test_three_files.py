"""Three files as centres send them become the study's tables by the forms of reading, and not without them."""

from __future__ import annotations

import pandas as pd
import pytest
import yaml
from intake_forms import SEEN, all_forms, drawn, of_patients, write_three
from studies import write_study

from liftseries.base.plain_yaml import load_yaml
from liftseries.intake.files.grid import letters
from liftseries.intake.study import check_study, read_study
from liftseries.study.plan import read_plan

KEYS = {"patients": ["patient_id"], "sites": ["site_id"], "visits": ["site_id", "months"]}


def known(folder) -> dict[str, pd.DataFrame]:
    """The study's tables; what the three files do not hold is not asked of them."""
    read = read_study(read_plan(folder)).tables
    return {name: read[name].sort_values(key, ignore_index=True) for name, key in KEYS.items()}


@pytest.fixture
def three(tmp_path):
    return write_three(tmp_path / "three", drawn(), all_forms(tmp_path / "three"))


def test_three_files_become_the_tables_that_they_were_made_of(three, tmp_path):
    expected, found = known(write_study(tmp_path / "plain", SEEN)), known(three)
    expected["sites"].loc[0, "soft_tissue_mm"] = float("nan")  # not collected in the first file
    for name in KEYS:
        pd.testing.assert_frame_equal(found[name], expected[name])


def test_shuffled_rows_give_the_same_tables(tmp_path):
    mixed = drawn()
    for name in ("patients", "sites", "visits"):
        mixed[name] = mixed[name].sample(frac=1, random_state=1).reset_index(drop=True)
    first = known(write_three(tmp_path / "a", drawn(), all_forms(tmp_path / "a")))
    second = known(write_three(tmp_path / "b", mixed, all_forms(tmp_path / "b")))
    for name in KEYS:
        pd.testing.assert_frame_equal(second[name], first[name])


RENAMING = ("columns", "ignore")


@pytest.mark.parametrize("file", ["nord", "sued", "west"])
def test_renaming_and_words_alone_do_not_do(three, file):
    path = three / "reading" / f"{file}.yaml"
    forms = load_yaml(path.read_text(encoding="utf-8"))
    kept = {key: entry for key, entry in forms.items() if key in RENAMING}
    for entries in kept.get("columns", {}).values():
        entries.pop("each", None)
        for name, entry in entries.items():
            if isinstance(entry, dict):
                one = entry["from"] if isinstance(entry["from"], str) else entry["from"][0]
                entries[name] = {"from": one, **{key: entry[key] for key in ("words",) if key in entry}}
    path.write_text(yaml.safe_dump(kept, allow_unicode=True), encoding="utf-8")
    _, problems = check_study(read_plan(three))
    assert any(f"{file}." in str(problem) for problem in problems)


def test_every_cell_that_a_form_changed_is_counted(three):
    intake, problems = check_study(read_plan(three))
    assert not problems
    of_nord = intake.decisions[intake.decisions["file"] == "nord.xlsx"]
    counted = of_nord.groupby(["column", "rule"])["n_cells"].sum()
    assert counted["septum", "empty_means"] == 1
    assert counted["implant_length_mm", "part_of_a_cell"] == 1
    assert counted["tooth", "word_beside_a_tooth"] == 1
    assert counted["centre", "constant"] == 1
    assert counted["soft_tissue_mm", "not_collected"] == 1
    of_west = intake.decisions[intake.decisions["file"] == "west.csv"]
    assert of_west.groupby("rule")["n_cells"].sum()["nominal_number"] == 2


def test_places_point_at_the_cells_of_the_file(three):
    """A visit of the second group is told in that group's column."""
    table = pd.read_csv(three / "west.csv", dtype=str, keep_default_na=False)
    table.loc[table["Case ID"] == "s4", "status 10m"] = "lost"
    table.to_csv(three / "west.csv", index=False)
    _, problems = check_study(read_plan(three))
    at = list(table).index("status 10m")
    assert [str(problem).split(":")[0] for problem in problems] == [
        f"west.csv, row 2, column {at + 1} ({letters(at)}), status"
    ]


def test_a_changed_header_is_told_by_name(three):
    text = (three / "west.csv").read_text(encoding="utf-8")
    (three / "west.csv").write_text(text.replace("bone 6m", "height 6m"), encoding="utf-8")
    _, problems = check_study(read_plan(three))
    told = "\n".join(map(str, problems))
    assert 'names the column "bone 6m" for visits' in told
    assert "a column that reading/west.yaml does not name" in told


def test_no_patient_is_lost_or_made(three):
    filed = of_patients(drawn(), ["p2"])
    read = read_study(read_plan(three))
    counts = read.counts[read.counts["file"] == "sued.csv"].set_index("table")["read"]
    assert counts.to_dict() == {"patients": 1, "sites": len(filed["sites"]), "visits": len(filed["visits"])}
