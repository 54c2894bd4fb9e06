"""The tables of an audit's cycle: units are the codes of operators and centres, free text goes unless it is kept."""

from __future__ import annotations

import pandas as pd
import pytest
from studies import tables

from liftseries.pseudonyms.folder import pseudonymise
from liftseries.pseudonyms.tables import Options

KEY = bytes(range(32))
ACTIONS = {
    "id": ["A-1", "A-2", "A-3", "A-4", "A-5"],
    "year": 2024,
    "unit": ["o1", " NORTH", "all", "Zebedee Quillfeather", "guided"],
    "what": ["probe more", "probe more", "probe more", "ask Zebedee Quillfeather", ""],
    "owner": "head of department",
    "due": "2025-06-30",
    "status": ["open", "done", "stopped", "open", "open"],
}


@pytest.fixture
def source(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    for name, table in {**tables(), "actions": pd.DataFrame(ACTIONS)}.items():
        table.to_csv(folder / f"{name}.csv", index=False)
    return folder


def made(source, out, *keep: str, smallest_cell: int = 5) -> tuple[pd.DataFrame, dict[str, pd.DataFrame], list[str]]:
    done = pseudonymise(source, out, KEY, Options(keep=frozenset(keep), smallest_cell=smallest_cell))
    written = {path.stem: pd.read_csv(path, dtype=str, keep_default_na=False) for path in out.glob("*.csv")}
    return written["actions"], written, list(map(str, done.told))


def test_units_are_the_codes_of_the_other_tables(source, tmp_path):
    actions, written, told = made(source, tmp_path / "out")
    codes = {*written["sites"]["operator"], *written["patients"]["centre"]}
    units = sorted(actions["unit"])
    assert units[:2] == ["", "all"]
    assert "guided" in units
    assert {unit for unit in units if unit[1:2] == "-"} < codes
    assert sum(unit[1:2] == "-" for unit in units) == 1 + 1
    assert "actions, row 5, unit: a unit that is no operator, centre, protocol or level here: left blank." in told
    assert set(actions["status"]) == {"open", "done", ""}
    assert set(actions["due"]) == {""}
    assert actions["id"].str.fullmatch("a-[a-z2-7]{16}").all()
    assert not {"what", "owner"} & set(actions)


def test_a_unit_that_is_a_centre_and_an_operator_is_left_blank(source, tmp_path):
    pd.DataFrame({**ACTIONS, "unit": "north"}).to_csv(source / "actions.csv", index=False)
    sites = pd.read_csv(source / "sites.csv", dtype=str).assign(operator="North")
    sites.to_csv(source / "sites.csv", index=False)
    actions, _, told = made(source, tmp_path / "out")
    assert set(actions["unit"]) == {""}
    assert any("a unit of two meanings: left blank" in line for line in told)


def test_free_text_is_kept_for_the_patients_of_its_units(source, tmp_path):
    """`probe more` is about o1's two patients, north's and all three; the other text about nobody that is known."""
    actions, _, _ = made(source, tmp_path / "out", "what", smallest_cell=3)
    assert sorted(actions["what"]) == ["", "", "probe more", "probe more", "probe more"]
    actions, _, _ = made(source, tmp_path / "more", "what", smallest_cell=4)
    assert set(actions["what"]) == {""}
