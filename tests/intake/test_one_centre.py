"""One centre's report: its patients' rows and all that refers to them, nothing of another's, into its own folder."""

from __future__ import annotations

import pandas as pd
import pytest
from studies import cell, tables, write_study

from liftseries.base.errors import StudyError, UsageError
from liftseries.cli import main
from liftseries.intake.one_centre import known_centre
from liftseries.intake.study import read_study
from liftseries.study.plan import read_plan
from liftseries.study.plan_files import CENTRE

HOSTILE = ["../../north", "a/b", "a-b", "CON", "{north}", "Zürich Süd", "n" * 300, "=1+1", ".", "output"]


def of(study, centre, monkeypatch):
    monkeypatch.setenv(CENTRE, centre)
    return read_study(read_plan(study))


@pytest.mark.parametrize("turned", [False, True])
def test_centres_share_the_study_out_and_instruments_stay_whole(tmp_path, monkeypatch, turned):
    changes = {name: lambda table: table.iloc[::-1] for name in tables()} if turned else {}
    study = write_study(tmp_path / "study", changes)
    whole = read_study(read_plan(study)).tables
    north, south = (of(study, centre, monkeypatch).tables for centre in ("north", "south"))
    assert north["patients"]["patient_id"].tolist() == ["p1", "p2"]
    assert north["sites"]["site_id"].tolist() == ["s1", "s2", "s3"]
    assert south["sites"]["site_id"].tolist() == ["s4"]
    for name in ("patients", "sites", "steps", "visits"):
        both = pd.concat([north[name], south[name]], ignore_index=True)
        pd.testing.assert_frame_equal(both.astype(object), whole[name].astype(object))
    for name in ("instruments", "stops"):
        pd.testing.assert_frame_equal(south[name], whole[name])


def test_what_is_told_is_of_the_centre(tmp_path, monkeypatch):
    """A site of each centre is set aside; a cell of each is taken by rule."""

    def sites(table):
        table = cell(4, "patient_id", "p3")(table)
        table = cell(4, "rbh_min_mm", "9")(cell(2, "rbh_min_mm", "9")(table))
        return table.assign(sinus_width_mm=["", "12,5 mm", "", "11,5 mm"])

    study = write_study(tmp_path / "study", {"sites": sites}, plan="invalid_rows: set_aside")
    whole, north, south = read_study(read_plan(study)), *(of(study, name, monkeypatch) for name in ("north", "south"))
    for told in ("set_aside", "decisions"):
        rows = [getattr(intake, told)["row"].dropna().tolist() for intake in (whole, north, south)]
        assert sorted(rows[1] + rows[2]) == sorted(rows[0])
        assert rows[1]
        assert rows[2]
    for intake in (north, south):
        counts = intake.counts.set_index("table")
        assert (counts["read"] == counts["kept"] + counts["set_aside"]).all()
        assert counts.loc["sites", "set_aside"] == 1
        assert counts["kept"].to_dict() == {name: len(intake.tables[name]) for name in counts.index}
        for name, table in intake.tables.items():
            assert len(intake.places[name]) == len(intake.not_applicable[name]) == len(table)
    assert north.place_of("sites", 0, "tooth") == whole.place_of("sites", 0, "tooth")


def test_a_centre_of_which_no_site_is_left_is_refused(tmp_path, monkeypatch):
    study = write_study(tmp_path / "study", {"sites": cell(5, "rbh_min_mm", "9")}, plan="invalid_rows: set_aside")
    assert len(of(study, "north", monkeypatch).tables["sites"]) == 3
    with pytest.raises(StudyError, match="row 5"):
        of(study, "south", monkeypatch)


@pytest.mark.parametrize("centre", HOSTILE)
def test_a_folder_of_any_name_stays_where_it_belongs(tmp_path, monkeypatch, centre):
    study = write_study(tmp_path / "study")
    monkeypatch.setenv(CENTRE, centre)
    assert read_plan(study).output.resolve().parent == (study / "output" / "centres").resolve()


def test_folders_of_names_alike_differ(tmp_path, monkeypatch):
    study, folders = write_study(tmp_path / "study"), set()
    for centre in HOSTILE:
        monkeypatch.setenv(CENTRE, centre)
        folders.add(read_plan(study).output)
    assert len(folders) == len(HOSTILE)


@pytest.mark.parametrize(("purpose", "left"), [("audit", ("publication",)), ("[comparison, audit]", ("comparison",))])
def test_an_audit_is_left_out(tmp_path, monkeypatch, purpose, left):
    study = write_study(tmp_path / "study", plan=f"purpose: {purpose}\nplan: {{comparison: {{groups: protocol}}}}")
    assert "audit" in read_plan(study).purpose
    monkeypatch.setenv(CENTRE, "north")
    assert read_plan(study).purpose == left
    assert read_plan(study).title.endswith(": north")


def test_a_wrong_centre_is_told_with_the_nearest_names(tmp_path, capsys):
    study = write_study(tmp_path / "study")
    centres = tables()["patients"]["centre"]
    assert known_centre(centres, "south") == "south"
    with pytest.raises(UsageError, match=r"nearest names: south, north\."):
        known_centre(centres, "Sout")
    assert main(["run", str(study), "--centre", "nowhere"]) == 2
    assert "nearest names" in capsys.readouterr().err
    assert not (study / "output").exists()


def test_empty_cells_taken_for_an_answer_are_of_the_centre(tmp_path, monkeypatch):
    none = {"perforation": ["", "no", "no", ""], "perforation_stage": "", "perforation_mm": ""}
    study = write_study(tmp_path / "study", {"sites": lambda sites: sites.assign(**none)})
    with (study / "study.yaml").open("a", encoding="utf-8") as plan:
        plan.write("reading: {empty_means: {sites: {perforation: no}}}\n")
    found = [of(study, centre, monkeypatch).filled["site_id"].tolist() for centre in ("north", "south")]
    assert found == [["s1"], ["s4"]]
