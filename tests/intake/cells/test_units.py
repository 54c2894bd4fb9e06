"""Numbers with a unit in the cell; factors against those that SciPy takes from CODATA and the SI."""

from __future__ import annotations

import pytest
from scipy import constants

from liftseries.intake.cells.cells import read_cell
from liftseries.intake.cells.units import FACTORS
from liftseries.intake.told.verdicts import Fault, Taken
from liftseries.study.schema import read_schema

SCHEMA = read_schema()
MM = SCHEMA["sites"].columns["soft_tissue_mm"]
ML = SCHEMA["sites"].columns["fluid_ml"]
NCM = SCHEMA["sites"].columns["torque_ncm"]
RPM = SCHEMA["steps"].columns["speed_rpm"]
MONTHS = SCHEMA["visits"].columns["months"]
AGE = SCHEMA["patients"].columns["age_years"]

# In SI units, from scipy.constants.
SI = {
    "mm": (constants.milli, {"cm": constants.centi, "m": 1, "μm": constants.micro, "inch": constants.inch}),
    "ml": (
        constants.milli * constants.liter,
        {
            "cc": constants.centi**3, "cm3": constants.centi**3, "mm3": constants.milli**3, "l": constants.liter,
            "μl": constants.micro * constants.liter, "cl": constants.centi * constants.liter,
            "dl": constants.deci * constants.liter,
        },
    ),
    "N cm": (constants.centi, {"nm": 1, "nmm": constants.milli, "kgfcm": constants.kilogram_force * constants.centi}),
    "rpm": (1 / constants.minute, {"rps": 1, "hz": 1, "/min": 1 / constants.minute}),
    "months": (
        constants.Julian_year / 12,
        {"years": constants.Julian_year, "weeks": constants.week, "days": constants.day},
    ),
    "years": (constants.Julian_year, {"months": constants.Julian_year / 12}),
}  # fmt: skip


@pytest.mark.parametrize("unit", SI)
def test_factors_are_those_of_scipy(unit):
    own, others = SI[unit]
    assert {other: FACTORS[unit][other] for other in others} == pytest.approx(
        {other: size / own for other, size in others.items()}, rel=1e-12
    )


@pytest.mark.parametrize(
    ("cell", "column", "value"),
    [
        ("5.2 mm", MM, 5.2), ("5,2mm", MM, 5.2), ("5.2 MM", MM, 5.2), ("0 mm", MM, 0), (" 5.2\u00a0mm ", MM, 5.2),
        ("5.2 mm.", MM, 5.2), ("2ml", ML, 2), ("2 mL", ML, 2), ("2 cm³", ML, 2), ("1,5 cc", ML, 1.5),
        ("30 N cm", NCM, 30), ("30 Ncm", NCM, 30), ("30 N·cm", NCM, 30), ("30ncm", NCM, 30), ("800 rpm", RPM, 800),
        ("800 U/min", RPM, 800), ("24 months", MONTHS, 24), ("1 month", MONTHS, 1), ("54 years", AGE, 54),
    ],
)  # fmt: skip
def test_number_with_the_unit_of_its_column_is_read(cell, column, value):
    taken = read_cell(cell, column)
    assert isinstance(taken, Taken)
    assert (taken.value, taken.rule) == (value, "unit_is_the_columns")
    assert type(taken.value) is type(value) or column.type == "number"


def test_unit_does_not_settle_a_mark_before_three_digits():
    assert read_cell("1.200 rpm", RPM).rule == "decimal_mark_is_clear"
    diameter = SCHEMA["sites"].columns["implant_diameter_mm"]
    assert read_cell("4.250 mm", diameter).value == 4.25  # 4250 mm is out of range


@pytest.mark.parametrize(
    ("cell", "column", "proposed"),
    [
        ("0.52 cm", MM, "5.2 mm"), ("0,52cm", MM, "5.2 mm"), ("1 inch", MM, "25.4 mm"), ("500 µm", MM, "0.5 mm"),
        ("250 µl", ML, "0.25 ml"), ("0.3 Nm", NCM, "30 N cm"), ("2 years", MONTHS, "24 months"),
        ("52 weeks", MONTHS, "11.96 months"), ("648 months", AGE, "54 years"),
    ],
)  # fmt: skip
def test_number_in_another_unit_is_refused_with_what_it_would_be(cell, column, proposed):
    fault = read_cell(cell, column)
    assert fault.rule == "unit_is_the_columns"
    assert f"it would be {proposed}." in fault.message


@pytest.mark.parametrize(
    ("cell", "column"),
    [
        ("5.2 mm", NCM),
        ("30 N", NCM),
        ("5 %", MM),
        ("5 mm 2", MM),
        ("5.2 parsec", MM),
        ("70 ISQ", SCHEMA["sites"].columns["isq"]),
    ],
)
def test_unknown_units_are_texts_and_not_quoted(cell, column):
    fault = read_cell(cell, column)
    assert isinstance(fault, Fault)
    assert fault.rule.startswith("value_is_a")
    assert cell.split()[-1] not in fault.message.split()


def test_whole_number_stays_whole():
    assert read_cell("54.5 years", AGE).rule == "value_is_a_whole_number"
    assert isinstance(read_cell("54 years", AGE).value, int)
