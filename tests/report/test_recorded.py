"""Surgery as recorded: what the chapters print of it, and that nothing stands there where nothing was."""

import pandas as pd
import pytest
from made_series import PLAN

from liftseries.models.perforation.recorded import fit_perforation_recorded
from liftseries.models.series.recorded import describe_surgery
from liftseries.models.shared.follow_up import follow_up
from liftseries.report.kit.material import Material, read_material
from liftseries.report.series.recorded import loading_sentence, volume_sentence
from liftseries.report.series.recorded_tables import implant_sizes_table, surgery_table

N = 12
CASES = pd.DataFrame(
    {
        "site_id": [f"s{i}" for i in range(N)],
        "patient_id": [f"p{i}" for i in range(N)],
        "operator": ["o1", "o2"] * 6,
        "operator_case_no": range(5, 5 + N),
        "perforation": ["yes"] * 6 + ["no"] * 6,
        "perforation_test": ["probe"] * N,
        "perforation_stage": ["drilling"] * 2 + ["lifting"] * 3 + ["unknown"] + [None] * 6,
        "perforation_mm": [1.0, 2.0, 2.0, 3.0, 4.0, *[None] * 7],
        "perforation_management": ["membrane"] * 6 + [None] * 6,
        "lift_method": ["fluid"] * 8 + ["osteotome"] * 4,
        "graft": ["none"] * 6 + ["xenograft"] * 6,
        "fluid_ml": [0.5] * 5 + [None] * 7,
        "dome_ml": [0.25] * N,
        "loading_months": [4.0, 5.0, 6.0] * 4,
        "implant_length_mm": [8.0, 9.5] * 6,
        "implant_diameter_mm": [4.2] * N,
    }
)
VISITS = pd.DataFrame(
    {
        "site_id": CASES["site_id"],
        "months": 12.0,
        "status": ["failed"] + ["functioning"] * 11,
        "complication": ["none"] * N,
    }
)
NOTHING = CASES[["site_id", "patient_id"]].assign(perforation="unknown")


@pytest.fixture
def material(tmp_path):
    def of(cases=CASES, visits=VISITS) -> Material:
        implants = follow_up(visits, cases).implants
        tears, surgery = fit_perforation_recorded(cases, implants, visits), describe_surgery(cases, implants)
        empty = read_material(tmp_path, PLAN)
        results = pd.concat([surgery.rows, tears.rows], ignore_index=True)
        return Material(PLAN, {}, {}, {**empty.tables, "results": results, "implant_sizes": surgery.sizes})

    return of


def test_surgery_stands_in_one_table(material):
    told = material()
    cells = {row[0].strip(): row[1:] for row in surgery_table(told, told.words).rows}
    assert cells["fluid"][0] == "8 of 12 (66.7%)"
    assert cells["lift by osteotome"][0] == "4 of 4 (100.0%)"
    assert cells["Fluid, ml"] == ("5 measured", "0.50 [0.50 to 0.50]")
    assert cells["Placement to loading, months"][1].endswith("5.0 [4.0 to 6.0]")
    assert "perforated: patients with one site" not in cells
    assert volume_sentence(told).text == (
        "Volumes, medians: 0.50 ml of fluid at 5 sites (2.0 times the spherical-cap volume of the planned lift)."
    )
    assert volume_sentence(told).source == (
        "series.surgery · all · fluid_ml median; series.surgery · all · fluid_ml/dome_ml median"
    )
    assert "a median of 5.0 months" in loading_sentence(told).text
    assert implant_sizes_table(told, told.words).rows[-1] == ("All", "12", "12")


def test_where_nothing_was_recorded_nothing_is_printed(material):
    told = material(NOTHING, VISITS.iloc[:0])
    assert len(told.results) > 20
    for table in (surgery_table, implant_sizes_table):
        assert table(told, told.words) is None
    for sentence in (volume_sentence, loading_sentence):
        assert sentence(told) is None
